-- The property file, schema version 4: a GeoPackage 1.3 (OGC 12-128r17) with these tables.
-- What the upgrades make of a file of an older version has the same columns; a test holds them together.
-- Nothing is deleted: what is retired keeps its row, with a date and a reason, and leaves lists and sums.
-- A plot is told by its plot_key for ever: `plot_id` in every other table holds that key, and the plot's own
-- `plot_id` is the name it has today.
-- Lengths in metres, areas in square metres, masses in kilograms, rates in kilograms per hectare; money
-- is decimal text; dates are ISO 8601; an empty (NULL) figure is "not tested" or "not stated".

PRAGMA application_id = 1196444487; -- "GPKG"
PRAGMA user_version = 10300;

-- What the standard asks for ------------------------------------------------------------------

CREATE TABLE gpkg_spatial_ref_sys (
    srs_name TEXT NOT NULL,
    srs_id INTEGER NOT NULL PRIMARY KEY,
    organization TEXT NOT NULL,
    organization_coordsys_id INTEGER NOT NULL,
    definition TEXT NOT NULL,
    description TEXT
);
INSERT INTO gpkg_spatial_ref_sys VALUES
    ('Undefined cartesian SRS', -1, 'NONE', -1, 'undefined', 'undefined cartesian coordinate reference system'),
    ('Undefined geographic SRS', 0, 'NONE', 0, 'undefined', 'undefined geographic coordinate reference system'),
    ('WGS 84 geodetic', 4326, 'EPSG', 4326, 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4326"]]', 'longitude/latitude on the WGS 84 spheroid');

CREATE TABLE gpkg_contents (
    table_name TEXT NOT NULL PRIMARY KEY,
    data_type TEXT NOT NULL,
    identifier TEXT UNIQUE,
    description TEXT DEFAULT '',
    last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ', 'now')),
    min_x DOUBLE,
    min_y DOUBLE,
    max_x DOUBLE,
    max_y DOUBLE,
    srs_id INTEGER,
    CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id)
);

CREATE TABLE gpkg_geometry_columns (
    table_name TEXT NOT NULL,
    column_name TEXT NOT NULL,
    geometry_type_name TEXT NOT NULL,
    srs_id INTEGER NOT NULL,
    z TINYINT NOT NULL,
    m TINYINT NOT NULL,
    CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
    CONSTRAINT uk_gc_table_name UNIQUE (table_name),
    CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents (table_name),
    CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id)
);

-- Identity and choices ------------------------------------------------------------------------

CREATE TABLE loamwright (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    schema_version INTEGER NOT NULL,
    made_by TEXT NOT NULL, -- version of the program that made the file
    property_uid TEXT NOT NULL DEFAULT '' -- the same in every copy of this property
);

CREATE TABLE property (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL CHECK (fid = 1),
    name TEXT NOT NULL,
    season INTEGER NOT NULL,
    about TEXT NOT NULL,
    units TEXT NOT NULL,
    guideline TEXT NOT NULL,
    lime_guideline TEXT NOT NULL,
    lime_region TEXT NOT NULL,
    lime_dose_limit TEXT NOT NULL,
    sampling_guide TEXT NOT NULL,
    cores_per_sample INTEGER,
    test_age_limit_years REAL NOT NULL,
    spreading_cost_per_ha TEXT NOT NULL,
    spreading_cost_per_pass TEXT NOT NULL,
    hauling_cost_per_kg TEXT NOT NULL,
    max_products_per_plot INTEGER,
    min_rate_kg_ha REAL,
    convert_extractants BOOLEAN NOT NULL,
    default_yield_row BOOLEAN NOT NULL,
    gps_sigma_m REAL NOT NULL,
    keeper TEXT NOT NULL DEFAULT '', -- who changes things, unless another is said
    currency TEXT NOT NULL DEFAULT 'USD', -- ISO 4217
    season_start TEXT NOT NULL DEFAULT '01-01', -- month-day; from July on it lies in the year before
    legume_share_no_n_pct REAL NOT NULL DEFAULT 25.0,
    work TEXT NOT NULL DEFAULT '{}' -- JSON object, as in a settings file
);

CREATE TABLE surplus_limits (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    supply TEXT NOT NULL UNIQUE, -- nutrient, 'lime ' and its basis, or '*' for the rest
    fraction REAL,
    rate_kg_ha REAL
);

CREATE TABLE spreaders (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    name TEXT NOT NULL,
    hopper_kg REAL,
    vehicle_kg REAL,
    swath_m REAL,
    speed_m_s REAL,
    field_efficiency REAL,
    heavy BOOLEAN NOT NULL DEFAULT 0, -- goes only where the plot's reach says yes
    fill_minutes REAL,
    cost_per_ha TEXT,
    cost_per_stop TEXT,
    cost_per_hour TEXT,
    cost_per_load TEXT,
    width_m REAL,
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

-- Ground --------------------------------------------------------------------------------------

CREATE TABLE plots (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    boundary MULTIPOLYGON NOT NULL,
    plot_key TEXT NOT NULL UNIQUE, -- for ever
    name TEXT NOT NULL,
    area_m2 REAL NOT NULL, -- inside the boundary when it was stored; for reading in a GIS only
    area_acres REAL NOT NULL,
    entrance_lon REAL,
    entrance_lat REAL,
    access TEXT NOT NULL,
    notes TEXT NOT NULL,
    area_se_m2 REAL,
    weight REAL NOT NULL,
    extra TEXT NOT NULL, -- JSON object: columns of the user's file that the program does not use
    plot_id TEXT NOT NULL DEFAULT '', -- what it is called today
    boundary_since DATE,
    narrowest_m REAL,
    weight_limit_kg REAL,
    reach_months TEXT NOT NULL DEFAULT '[]', -- JSON list of months 1 to 12; empty = not stated
    reach TEXT NOT NULL DEFAULT '{}', -- JSON object: spreader to true or false; absent = not stated
    bands TEXT NOT NULL DEFAULT '{}', -- JSON object: supply to [lowest, highest] share of the need that is met
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);
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

CREATE TABLE keepouts (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    shape GEOMETRY NOT NULL,
    keepout_id TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    setback_m REAL, -- NULL = not stated; 0 = none
    setback_text TEXT NOT NULL,
    notes TEXT NOT NULL,
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

-- Soil ----------------------------------------------------------------------------------------

CREATE TABLE soil_tests (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    test_id TEXT NOT NULL UNIQUE,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    sampled_on DATE,
    lab TEXT NOT NULL,
    depth_top_m REAL,
    depth_bottom_m REAL,
    ph REAL,
    buffer_ph REAL,
    buffer_method TEXT,
    organic_matter_pct REAL,
    cec_meq_100g REAL,
    acidity_meq_100g REAL,
    part TEXT NOT NULL,
    texture TEXT NOT NULL,
    recommends BOOLEAN NOT NULL, -- the lab printed a recommendation
    lime_value REAL,
    lime_unit TEXT,
    credits_taken BOOLEAN,
    analysed_on DATE,
    sampled_by TEXT NOT NULL DEFAULT '',
    rates_crop TEXT NOT NULL DEFAULT '', -- crop and season the lab's rates were written for
    rates_season INTEGER,
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

CREATE TABLE soil_readings (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    test_id TEXT NOT NULL REFERENCES soil_tests (test_id),
    element TEXT NOT NULL,
    value REAL NOT NULL,
    unit TEXT NOT NULL,
    extractant TEXT,
    basis TEXT NOT NULL,
    sign TEXT NOT NULL DEFAULT '', -- '<' or '>' where the lab prints a limit only, which is the value
    UNIQUE (test_id, element)
);

CREATE TABLE lab_rates (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    test_id TEXT NOT NULL REFERENCES soil_tests (test_id),
    nutrient TEXT NOT NULL,
    value REAL NOT NULL,
    unit TEXT NOT NULL,
    up_to REAL, -- the upper end, where the lab prints a range
    UNIQUE (test_id, nutrient)
);

CREATE TABLE organic_inputs (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    input_id TEXT NOT NULL UNIQUE,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    applied_on DATE NOT NULL,
    material TEXT NOT NULL,
    method TEXT NOT NULL,
    amount_value REAL NOT NULL,
    amount_unit TEXT NOT NULL,
    n_lb_per_ton REAL,
    p2o5_lb_per_ton REAL,
    k2o_lb_per_ton REAL,
    s_lb_per_ton REAL,
    ca_lb_per_ton REAL,
    mg_lb_per_ton REAL,
    b_lb_per_ton REAL,
    zn_lb_per_ton REAL,
    mn_lb_per_ton REAL,
    available_n_pct REAL,
    available_p2o5_pct REAL,
    available_k2o_pct REAL,
    available_s_pct REAL,
    available_ca_pct REAL,
    available_mg_pct REAL,
    available_b_pct REAL,
    available_zn_pct REAL,
    available_mn_pct REAL,
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

-- Products ------------------------------------------------------------------------------------

CREATE TABLE products (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    product TEXT NOT NULL UNIQUE,
    form TEXT NOT NULL,
    n_pct REAL,
    p2o5_pct REAL,
    k2o_pct REAL,
    s_pct REAL,
    ca_pct REAL,
    mg_pct REAL,
    b_pct REAL,
    zn_pct REAL,
    mn_pct REAL,
    ingredient TEXT NOT NULL,
    ingredient_pct REAL,
    density_kg_m3 REAL,
    lime_label BOOLEAN NOT NULL, -- the product has a lime label, perhaps an empty one
    lime_cce_pct REAL,
    lime_passing_pct TEXT, -- JSON object: mesh number to percent passing
    lime_moisture_pct REAL,
    lime_enp_lb_per_ton REAL,
    lime_ecce_pct REAL,
    lime_enm_lb_per_ton REAL,
    lime_enp_state TEXT,
    lime_scores_pct TEXT, -- JSON object: basis of any other printed score to percent
    min_rate_kg_ha REAL,
    max_rate_kg_ha REAL,
    equipment TEXT NOT NULL, -- JSON list
    timings TEXT NOT NULL, -- JSON list
    nitrogen_forms_pct TEXT NOT NULL, -- JSON object: form to percent of product
    contains TEXT NOT NULL, -- JSON list
    dolomitic BOOLEAN,
    extra TEXT NOT NULL, -- JSON object
    material TEXT NOT NULL DEFAULT '', -- of manure, litter or compost
    method TEXT NOT NULL DEFAULT '', -- how that is placed
    available_n_pct REAL,
    available_p2o5_pct REAL,
    available_k2o_pct REAL,
    available_s_pct REAL,
    available_ca_pct REAL,
    available_mg_pct REAL,
    available_b_pct REAL,
    available_zn_pct REAL,
    available_mn_pct REAL,
    bucket_kg REAL, -- what the user's own bucket holds, weighed
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

CREATE TABLE offers (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    offer_id TEXT NOT NULL UNIQUE,
    product TEXT NOT NULL REFERENCES products (product),
    package TEXT NOT NULL,
    package_kg REAL,
    price TEXT,
    divisible BOOLEAN NOT NULL,
    increment_kg REAL,
    seller TEXT NOT NULL,
    priced_on DATE,
    in_stock REAL NOT NULL,
    min_order INTEGER NOT NULL,
    max_count INTEGER,
    delivery_fee TEXT NOT NULL,
    price_breaks TEXT NOT NULL, -- JSON list of [from this many packages, unit price]
    price_low TEXT,
    price_high TEXT,
    handled TEXT, -- bag, bulk shovelled, bulk by auger, spread by the seller
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT ''
);

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

-- Decisions -------------------------------------------------------------------------------------

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

-- Plans: kept, with the reason they changed -------------------------------------------------------

CREATE TABLE plans (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL UNIQUE,
    outcome TEXT NOT NULL,
    gap REAL,
    purchase_cost TEXT NOT NULL,
    spreading_cost TEXT NOT NULL,
    delivery_cost TEXT NOT NULL,
    season INTEGER NOT NULL,
    made_at TEXT NOT NULL,
    reason TEXT NOT NULL,
    counted_entries TEXT NOT NULL, -- JSON list
    explanation TEXT NOT NULL, -- JSON list
    problems TEXT NOT NULL, -- JSON list
    fingerprint TEXT NOT NULL DEFAULT '{}', -- JSON object: what it stood on, in words, by kind and id
    retired_on DATE,
    retired_because TEXT NOT NULL DEFAULT '',
    filling_cost TEXT NOT NULL DEFAULT '0',
    handling_cost TEXT NOT NULL DEFAULT '0',
    left_to_decide TEXT NOT NULL DEFAULT '[]' -- JSON list: kind, words, needs still short, cost
);

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

CREATE TABLE plan_lines (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL REFERENCES plans (plan_id),
    line_id TEXT NOT NULL,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    product TEXT NOT NULL,
    timing TEXT,
    rate_kg_ha REAL NOT NULL,
    mass_kg REAL NOT NULL,
    packages REAL,
    package TEXT NOT NULL,
    steps TEXT NOT NULL, -- JSON list
    job_id TEXT NOT NULL DEFAULT '',
    spreader TEXT NOT NULL DEFAULT '',
    UNIQUE (plan_id, line_id)
);

CREATE TABLE plan_purchases (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL REFERENCES plans (plan_id),
    offer_id TEXT NOT NULL,
    product TEXT NOT NULL,
    package TEXT NOT NULL,
    seller TEXT NOT NULL,
    count REAL NOT NULL,
    from_stock REAL NOT NULL,
    unit_price TEXT NOT NULL,
    cost TEXT NOT NULL,
    left_over_kg REAL NOT NULL,
    timing TEXT
);

CREATE TABLE plan_coverage (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL REFERENCES plans (plan_id),
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    supply TEXT NOT NULL,
    need_kg REAL,
    supplied_kg REAL NOT NULL
);

CREATE TABLE plan_plot_costs (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    plan_id TEXT NOT NULL REFERENCES plans (plan_id),
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    cost TEXT NOT NULL,
    UNIQUE (plan_id, plot_id)
);

-- Record: append-only ---------------------------------------------------------------------------

CREATE TABLE applications (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    entry_id TEXT NOT NULL UNIQUE,
    plot_id TEXT NOT NULL REFERENCES plots (plot_key),
    product TEXT NOT NULL,
    done TEXT NOT NULL,
    applied_on DATE NOT NULL,
    mass_kg REAL NOT NULL,
    timing TEXT,
    line_id TEXT NOT NULL,
    time_of_day TEXT NOT NULL,
    area_m2 REAL,
    cost TEXT,
    operator TEXT NOT NULL,
    equipment TEXT NOT NULL,
    method TEXT NOT NULL,
    ground TEXT NOT NULL,
    weather TEXT NOT NULL,
    forecast TEXT NOT NULL,
    note TEXT NOT NULL,
    reason TEXT NOT NULL,
    replaces TEXT NOT NULL, -- entry_id this one corrects, or empty
    recorded_at TEXT NOT NULL,
    part TEXT NOT NULL DEFAULT '', -- part of the plot it went on; with area_m2
    withdrawn BOOLEAN NOT NULL DEFAULT 0, -- 1: the entry it replaces never happened
    plan_id TEXT, -- plan and job it answers; NULL = none, or kept before version 4
    job_id TEXT,
    report_id TEXT -- the same in all products of one report of a job: the entry_id of the first
);
CREATE TRIGGER applications_no_update BEFORE UPDATE ON applications
BEGIN
    SELECT RAISE(ABORT, 'the record is append-only: add a correcting entry instead');
END;
CREATE TRIGGER applications_no_delete BEFORE DELETE ON applications
BEGIN
    SELECT RAISE(ABORT, 'the record is append-only: add a correcting entry instead');
END;

CREATE TABLE calibrations (
    fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL,
    calibration_id TEXT NOT NULL UNIQUE,
    spreader TEXT NOT NULL,
    product TEXT NOT NULL,
    setting TEXT NOT NULL,
    operator TEXT NOT NULL,
    tested_on DATE NOT NULL,
    swath_m REAL,
    speed_m_s REAL,
    caught_kg REAL NOT NULL,
    catch_area_m2 REAL NOT NULL,
    rate_kg_ha REAL NOT NULL,
    note TEXT NOT NULL
);

-- Journal: every change, as values ----------------------------------------------------------------

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

-- Registered, so that any GIS lists them ----------------------------------------------------------

INSERT INTO gpkg_contents (table_name, data_type, identifier, description, srs_id) VALUES
    ('plots', 'features', 'plots', 'Management units; boundaries in longitude, latitude', 4326),
    ('keepouts', 'features', 'keepouts', 'Ground where nothing is spread', 4326),
    ('loamwright', 'attributes', 'loamwright', 'Which program and schema version this file is of', NULL),
    ('property', 'attributes', 'property', 'Name, season and choices', NULL),
    ('surplus_limits', 'attributes', 'surplus_limits', 'How far over a need a nutrient may go', NULL),
    ('spreaders', 'attributes', 'spreaders', 'Equipment', NULL),
    ('croppings', 'attributes', 'croppings', 'What grows on a plot in a season', NULL),
    ('soil_tests', 'attributes', 'soil_tests', 'Lab reports', NULL),
    ('soil_readings', 'attributes', 'soil_readings', 'Lab figures, with unit and extractant', NULL),
    ('lab_rates', 'attributes', 'lab_rates', 'What the lab itself recommends', NULL),
    ('organic_inputs', 'attributes', 'organic_inputs', 'Manure, litter and compost', NULL),
    ('products', 'attributes', 'products', 'Labels', NULL),
    ('offers', 'attributes', 'offers', 'Packages and prices', NULL),
    ('plans', 'attributes', 'plans', 'Every plan made, with the reason it changed', NULL),
    ('plan_jobs', 'attributes', 'plan_jobs', 'Trips, each with one load', NULL),
    ('plan_lines', 'attributes', 'plan_lines', 'Product per plot', NULL),
    ('plan_purchases', 'attributes', 'plan_purchases', 'Packages to buy', NULL),
    ('plan_coverage', 'attributes', 'plan_coverage', 'Need against supply', NULL),
    ('plan_plot_costs', 'attributes', 'plan_plot_costs', 'Cost per plot', NULL),
    ('applications', 'attributes', 'applications', 'What was spread; append-only', NULL),
    ('calibrations', 'attributes', 'calibrations', 'Spreader tests', NULL),
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
    ('plots', 'boundary', 'MULTIPOLYGON', 4326, 0, 0),
    ('keepouts', 'shape', 'GEOMETRY', 4326, 0, 0),
    ('ways', 'shape', 'GEOMETRY', 4326, 0, 0);
