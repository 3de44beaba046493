-- The samples, and how they are kept in pieces of time.

-- name: create_samples
-- Holds one row a system and instant; NULL = column not used by that row, -32768 = no value.
CREATE TABLE samples (
    system_id integer NOT NULL,
    ts timestamptz NOT NULL,
    {columns},
    PRIMARY KEY (system_id, ts)
) {partitioning};

-- name: create_sample_days
-- Lists the UTC days of each system that hold samples, so that nobody has to search for them.
CREATE TABLE sample_days (
    system_id integer NOT NULL,
    day date NOT NULL,
    first timestamptz NOT NULL,
    last timestamptz NOT NULL,
    row_count integer NOT NULL,
    PRIMARY KEY (system_id, day)
);

-- name: drop_samples
-- Undoes the two tables above.
DROP TABLE samples, sample_days;

-- name: extension_ready
-- True where TimescaleDB is loaded and new enough; versions before 2.27 answered wrongly on int2
-- columns that were compressed, 2.29.2 has the later security fixes.
SELECT EXISTS (
    SELECT FROM pg_available_extensions
    WHERE name = 'timescaledb'
      AND string_to_array(substring(coalesce(installed_version, default_version)
                                    FROM '^[0-9.]+'), '.')::int[] >= '{{2,29,2}}'
      AND (installed_version IS NOT NULL
           OR current_setting('timescaledb.disable_load', true) IS NOT NULL)
);

-- name: create_extension
-- Installs TimescaleDB in this database.
CREATE EXTENSION IF NOT EXISTS timescaledb;

-- name: create_hypertable
-- Hands the table over to TimescaleDB; the primary key serves every query, so no other index.
SELECT create_hypertable('samples', by_range('ts', INTERVAL {chunk}),
                         create_default_indexes => false);

-- name: columnstore_licensed
-- True where this build of TimescaleDB may compress.
SELECT current_setting('timescaledb.license', true) = 'timescale';

-- name: use_columnstore
-- Has chunks compressed system by system, each in the order of time.
ALTER TABLE samples SET (
    timescaledb.enable_columnstore,
    timescaledb.segmentby = 'system_id',
    timescaledb.orderby = 'ts'
);

-- name: compress_after
-- Compresses a chunk once it is this old; rows that come later are merged in all the same.
SELECT add_compression_policy('samples', INTERVAL {age});

-- name: backend
-- Tells a partitioned table from a hypertable.
SELECT relkind = 'p' FROM pg_class WHERE oid = 'samples'::regclass;

-- name: partitions_known
-- Tells which of some partitions exist.
SELECT relname FROM pg_class
WHERE relname = ANY(%s) AND relnamespace = (
    SELECT relnamespace FROM pg_class WHERE oid = 'samples'::regclass
);

-- name: lock_partitioning
-- Lets one transaction at a time add partitions; readers and writers of samples go on.
LOCK TABLE samples IN SHARE UPDATE EXCLUSIVE MODE;

-- name: create_partition
-- Makes one partition, still apart.
CREATE TABLE {partition} (LIKE samples INCLUDING ALL);

-- name: attach_partition
-- Adds it; attaching takes a lighter lock than CREATE TABLE ... PARTITION OF.
ALTER TABLE samples ATTACH PARTITION {partition} FOR VALUES FROM ({start}) TO ({stop});
