-- From schema version 4 to 5: a lab figure may be a limit only, a lab rate may be a range.
-- Run statement by statement in one transaction. What the columns mean stands in schema.sql.

ALTER TABLE soil_readings ADD COLUMN sign TEXT NOT NULL DEFAULT '';
ALTER TABLE lab_rates ADD COLUMN up_to REAL;
