-- From schema version 5 to 6: a plot may have bands of its own, an offer says how it is handled (bulk goods
-- were shovelled ones), loose goods are counted in a bucket.
-- Run statement by statement in one transaction. What the columns mean stands in schema.sql.

ALTER TABLE plots ADD COLUMN bands TEXT NOT NULL DEFAULT '{}';
ALTER TABLE offers ADD COLUMN handled TEXT;
ALTER TABLE products ADD COLUMN bucket_kg REAL;
UPDATE property SET work = replace(work, '"bulk":', '"bulk shovelled":');
UPDATE change_values SET before = replace(before, '"bulk":', '"bulk shovelled":'),
    after = replace(after, '"bulk":', '"bulk shovelled":') WHERE table_name = 'property' AND field = 'work';
