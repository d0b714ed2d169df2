-- From schema version 1 to 2: the record that can change. Run statement by statement in one transaction.
-- What the columns mean stands in schema.sql.

ALTER TABLE loamwright ADD COLUMN property_uid TEXT NOT NULL DEFAULT '';
UPDATE loamwright SET property_uid = lower(hex(randomblob(16)));

ALTER TABLE property ADD COLUMN work TEXT NOT NULL DEFAULT '{}';
ALTER TABLE property ADD COLUMN keeper TEXT NOT NULL DEFAULT '';
ALTER TABLE property ADD COLUMN currency TEXT NOT NULL DEFAULT 'USD';
ALTER TABLE property ADD COLUMN season_start TEXT NOT NULL DEFAULT '01-01';
ALTER TABLE property ADD COLUMN legume_share_no_n_pct REAL NOT NULL DEFAULT 25.0;
ALTER TABLE property ADD COLUMN topup_share REAL NOT NULL DEFAULT 0.05;
ALTER TABLE property ADD COLUMN topup_cost TEXT NOT NULL DEFAULT '0';

ALTER TABLE spreaders ADD COLUMN heavy BOOLEAN NOT NULL DEFAULT 0;
ALTER TABLE spreaders ADD COLUMN fill_minutes REAL;
ALTER TABLE spreaders ADD COLUMN cost_per_ha TEXT;
ALTER TABLE spreaders ADD COLUMN cost_per_stop TEXT;
ALTER TABLE spreaders ADD COLUMN cost_per_hour TEXT;
ALTER TABLE spreaders ADD COLUMN retired_on DATE;
ALTER TABLE spreaders ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE plots RENAME COLUMN plot_id TO plot_key;
ALTER TABLE plots ADD COLUMN plot_id TEXT NOT NULL DEFAULT '';
ALTER TABLE plots ADD COLUMN boundary_since DATE;
ALTER TABLE plots ADD COLUMN narrowest_m REAL;
ALTER TABLE plots ADD COLUMN weight_limit_kg REAL;
ALTER TABLE plots ADD COLUMN reach_months TEXT NOT NULL DEFAULT '[]';
ALTER TABLE plots ADD COLUMN reach TEXT NOT NULL DEFAULT '{}';
ALTER TABLE plots ADD COLUMN retired_on DATE;
ALTER TABLE plots ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

UPDATE plots SET plot_id = plot_key;
CREATE UNIQUE INDEX plots_plot_id ON plots (plot_id);

CREATE TABLE plot_aliases (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    alias TEXT NOT NULL UNIQUE, -- a name the plot had
    plot_id TEXT NOT NULL REFERENCES plots (plot_key)
);

CREATE TABLE plot_boundaries (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    shape BLOB NOT NULL, -- GeoPackage geometry as it was before
    area_m2 REAL NOT NULL,
    until DATE NOT NULL,
    UNIQUE (plot_id, until, area_m2)
);

CREATE TABLE plot_parts (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    part_id TEXT NOT NULL UNIQUE,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    name TEXT NOT NULL DEFAULT '',
    area_m2 REAL,
    shape BLOB, -- GeoPackage geometry; NULL = stated by its acres
    notes TEXT NOT NULL DEFAULT '',
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

CREATE TABLE ways (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    shape GEOMETRY NOT NULL,
    way_id TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL, -- track, gate, bridge, loading place, contact
    name TEXT NOT NULL DEFAULT '',
    width_m REAL,
    load_limit_kg REAL,
    notes TEXT NOT NULL DEFAULT '',
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

-- Several croppings of one plot and season need another rule of uniqueness.
ALTER TABLE croppings RENAME TO croppings_1;
CREATE TABLE croppings (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    season INTEGER NOT NULL,
    crop TEXT NOT NULL,
    previous_crop TEXT NOT NULL,
    yield_goal_value REAL,
    yield_goal_unit TEXT,
    legume_pct REAL,
    seeding BOOLEAN,
    previous_stand TEXT NOT NULL,
    position INTEGER NOT NULL DEFAULT 1, -- first, second … crop of the season
    sown_on DATE,
    ended_on DATE,
    use TEXT NOT NULL DEFAULT '', -- harvested, grazed, browsed, left
    yield_goal_how TEXT NOT NULL DEFAULT '',
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT '',
    UNIQUE (plot_id, season, position)
);
INSERT INTO croppings (fid, plot_id, season, crop, previous_crop, yield_goal_value, yield_goal_unit, legume_pct, seeding, previous_stand)
    SELECT fid, plot_id, season, crop, previous_crop, yield_goal_value, yield_goal_unit, legume_pct, seeding, previous_stand FROM croppings_1;
DROP TABLE croppings_1;

ALTER TABLE keepouts ADD COLUMN retired_on DATE;
ALTER TABLE keepouts ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE soil_tests ADD COLUMN analysed_on DATE;
ALTER TABLE soil_tests ADD COLUMN sampled_by TEXT NOT NULL DEFAULT '';
ALTER TABLE soil_tests ADD COLUMN rates_crop TEXT NOT NULL DEFAULT '';
ALTER TABLE soil_tests ADD COLUMN rates_season INTEGER;
ALTER TABLE soil_tests ADD COLUMN retired_on DATE;
ALTER TABLE soil_tests ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE organic_inputs ADD COLUMN retired_on DATE;
ALTER TABLE organic_inputs ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE products ADD COLUMN retired_on DATE;
ALTER TABLE products ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE offers ADD COLUMN retired_on DATE;
ALTER TABLE offers ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

CREATE TABLE purchases (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    purchase_id TEXT NOT NULL UNIQUE,
    kind TEXT NOT NULL, -- bought, received, returned, counted
    product TEXT NOT NULL REFERENCES products (product),
    package TEXT NOT NULL,
    package_kg REAL NOT NULL,
    count REAL NOT NULL,
    dated DATE NOT NULL,
    offer_id TEXT NOT NULL DEFAULT '',
    paid TEXT,
    seller TEXT NOT NULL DEFAULT '',
    made_by TEXT NOT NULL DEFAULT '',
    note TEXT NOT NULL DEFAULT '',
    recorded_at TEXT NOT NULL DEFAULT '',
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

CREATE TABLE decisions (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    decision_id TEXT NOT NULL UNIQUE,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    season INTEGER NOT NULL,
    supply TEXT NOT NULL, -- nutrient, or 'lime'
    crop TEXT NOT NULL DEFAULT '',
    rate_kg_ha REAL, -- decided amount; 0 is one
    share REAL, -- or a share of the published rate
    reason TEXT NOT NULL,
    made_by TEXT NOT NULL DEFAULT '',
    decided_on DATE NOT NULL,
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

CREATE TABLE checklist (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    number TEXT NOT NULL, -- of the list of what a plan and its records hold
    plot_id TEXT NOT NULL DEFAULT '', -- plot_key, or empty for the property
    text TEXT NOT NULL,
    UNIQUE (number, plot_id)
);

CREATE TABLE kept_editions (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    edition TEXT NOT NULL,
    file TEXT NOT NULL,
    content BLOB NOT NULL,
    UNIQUE (edition, file)
);

ALTER TABLE plan_lines ADD COLUMN job_id TEXT NOT NULL DEFAULT '';
ALTER TABLE plan_lines ADD COLUMN spreader TEXT NOT NULL DEFAULT '';
ALTER TABLE plans ADD COLUMN filling_cost TEXT NOT NULL DEFAULT '0';
ALTER TABLE plans ADD COLUMN handling_cost TEXT NOT NULL DEFAULT '0';
ALTER TABLE plans ADD COLUMN fingerprint TEXT NOT NULL DEFAULT '{}';
ALTER TABLE plans ADD COLUMN retired_on DATE;
ALTER TABLE plans ADD COLUMN retired_because TEXT NOT NULL DEFAULT '';

ALTER TABLE applications ADD COLUMN part TEXT NOT NULL DEFAULT '';
ALTER TABLE applications ADD COLUMN withdrawn BOOLEAN NOT NULL DEFAULT 0;

CREATE TABLE plan_jobs (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL REFERENCES plans (plan_id),
    job_id TEXT NOT NULL,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    timing TEXT,
    spreader TEXT NOT NULL,
    line_ids TEXT NOT NULL, -- JSON list
    mass_kg REAL NOT NULL,
    rate_kg_ha REAL NOT NULL,
    cost TEXT NOT NULL,
    fills INTEGER,
    hours REAL,
    window TEXT, -- JSON object: label, opens, closes
    placement TEXT NOT NULL,
    reason TEXT NOT NULL,
    part TEXT NOT NULL,
    UNIQUE (plan_id, job_id)
);

CREATE TABLE changes (
    change_id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    made_at TEXT NOT NULL,
    made_by TEXT NOT NULL,
    command TEXT NOT NULL,
    undoes INTEGER REFERENCES changes (change_id),
    uid TEXT NOT NULL UNIQUE -- the same in every copy
);

CREATE TABLE change_values (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    change_id INTEGER NOT NULL REFERENCES changes (change_id),
    table_name TEXT NOT NULL,
    row_key TEXT NOT NULL, -- JSON list: the row's key values
    kind TEXT NOT NULL, -- added, changed, removed
    field TEXT NOT NULL,
    before BLOB, -- as it was, of any type; NULL when there was none; shapes as GeoPackage geometry
    after BLOB
);

CREATE INDEX change_values_row ON change_values (table_name, row_key);

INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES
    ('plan_jobs', 'attributes', 'plan_jobs', 'Trips, each with one load', NULL),
    ('ways', 'features', 'ways', 'Tracks, gates, bridges, loading places', 4326),
    ('plot_aliases', 'attributes', 'plot_aliases', 'Names a plot had', NULL),
    ('plot_boundaries', 'attributes', 'plot_boundaries', 'Boundaries a plot had', NULL),
    ('plot_parts', 'attributes', 'plot_parts', 'Parts of plots', NULL),
    ('purchases', 'attributes', 'purchases', 'What was bought, returned or counted', NULL),
    ('decisions', 'attributes', 'decisions', 'What was decided, and why', NULL),
    ('checklist', 'attributes', 'checklist', 'Free text by number in the list of what a plan holds', NULL),
    ('kept_editions', 'attributes', 'kept_editions', 'Guideline files this property uses', NULL),
    ('changes', 'attributes', 'changes', 'Journal: who changed what, and when', NULL),
    ('change_values', 'attributes', 'change_values', 'Journal: values before and after', NULL);
INSERT INTO gpkg_geometry_columns (table_name, column_name, geometry_type_name, srs_id, z, m) VALUES
    ('ways', 'shape', 'GEOMETRY', 4326, 0, 0);
