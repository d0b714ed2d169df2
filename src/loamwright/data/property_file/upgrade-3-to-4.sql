-- From schema version 3 to 4: an entry of the record names the plan and the job it answers, and what was reported with it;
-- a plan keeps what it leaves to decide apart from its other sentences.
-- Run statement by statement in one transaction. What the columns mean stands in schema.sql.

ALTER TABLE applications ADD COLUMN plan_id TEXT;
ALTER TABLE applications ADD COLUMN job_id TEXT;
ALTER TABLE applications ADD COLUMN report_id TEXT;

-- Plans made before had only sentences, of three fixed beginnings; what they hold besides is not known.
ALTER TABLE plans ADD COLUMN left_to_decide TEXT NOT NULL DEFAULT '[]';
UPDATE plans SET left_to_decide = (
    SELECT json_group_array(json_object(
        'kind', CASE
            WHEN value LIKE 'Plot %' THEN 'cannot be met'
            WHEN value LIKE 'Left for you to choose: %' THEN 'too small a job'
            ELSE 'a blend on offer'
        END,
        'words', value, 'short', json('[]'), 'cost', NULL))
    FROM json_each(plans.explanation)
    WHERE value LIKE 'Plot %'
    OR value LIKE 'Left for you to choose: %'
    OR value LIKE 'The cheapest single blend for %'
);
