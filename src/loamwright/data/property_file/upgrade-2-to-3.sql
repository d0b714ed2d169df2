-- From schema version 2 to 3: manure as a material, any printed lime score, whole truckloads, one setting for what is too small.
-- Run statement by statement in one transaction. What the columns mean stands in schema.sql.

ALTER TABLE products ADD COLUMN lime_scores_pct TEXT;
UPDATE products SET lime_scores_pct = '{}' WHERE lime_label;
ALTER TABLE products ADD COLUMN material TEXT NOT NULL DEFAULT '';
ALTER TABLE products ADD COLUMN method TEXT NOT NULL DEFAULT '';
ALTER TABLE products ADD COLUMN available_n_pct REAL;
ALTER TABLE products ADD COLUMN available_p2o5_pct REAL;
ALTER TABLE products ADD COLUMN available_k2o_pct REAL;
ALTER TABLE products ADD COLUMN available_s_pct REAL;
ALTER TABLE products ADD COLUMN available_ca_pct REAL;
ALTER TABLE products ADD COLUMN available_mg_pct REAL;
ALTER TABLE products ADD COLUMN available_b_pct REAL;
ALTER TABLE products ADD COLUMN available_zn_pct REAL;
ALTER TABLE products ADD COLUMN available_mn_pct REAL;

ALTER TABLE spreaders ADD COLUMN cost_per_load TEXT;
ALTER TABLE spreaders ADD COLUMN width_m REAL;

-- A share that somebody set above what is left out anyway stays in force under the one name.
UPDATE property SET work = json_set(work, '$.least_job_share', topup_share)
WHERE topup_share > coalesce(json_extract(work, '$.least_job_share'), 0.1);
ALTER TABLE property DROP COLUMN topup_share;
ALTER TABLE property DROP COLUMN topup_cost;
