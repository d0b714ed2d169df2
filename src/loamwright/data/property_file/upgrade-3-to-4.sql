-- From schema version 3 to 4: an entry of the record names the plan and the job it answers, and what was reported with it.
-- Run statement by statement in one transaction. What the columns mean stands in schema.sql.

ALTER TABLE applications ADD COLUMN plan_id TEXT;
ALTER TABLE applications ADD COLUMN job_id TEXT;
ALTER TABLE applications ADD COLUMN report_id TEXT;
