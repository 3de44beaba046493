-- Every statement on samples. Each begins with its name and says what it is for;
-- names in braces are filled in by fleet.timeseries.statements.

-- name: begin_merge
-- Lets one merge at a time touch a system, until the transaction ends; then, in a look of its own
-- at what others have committed, tells on which of some days samples are stored between two
-- instants, and whether a partition for them is missing. All in one message: for an upload of an
-- hour, messages are most of the time.
SELECT pg_advisory_xact_lock({namespace}, {system_id});
SELECT
    array(
        SELECT day FROM sample_days AS known
        JOIN unnest({days}::date[], {first}::timestamptz[], {last}::timestamptz[])
            AS given (day, first, last) USING (day)
        WHERE system_id = {system_id} AND known.first <= given.last AND known.last >= given.first
    ),
    (SELECT relkind = 'p' FROM pg_class WHERE oid = 'samples'::regclass)
    AND EXISTS (SELECT FROM unnest({partitions}::text[]) AS wanted WHERE to_regclass(wanted) IS NULL);

-- name: append
-- Takes new rows straight from the client.
COPY samples (system_id, ts{columns}) FROM STDIN (FORMAT binary);

-- name: span
-- Sends rows of one system in time order, as fixed-width records: hence no NULL.
COPY (
    SELECT ts{columns} FROM samples
    WHERE system_id = {system_id} AND ts >= {start} AND ts < {stop}
    ORDER BY ts
) TO STDOUT (FORMAT binary);

-- name: create_changes
-- Makes room for changed rows of one merge; other columns of those rows stay as they are.
CREATE TEMPORARY TABLE samples_changes (ts timestamptz NOT NULL{columns}) ON COMMIT DROP;

-- name: load_changes
-- Takes changed rows from the client.
COPY samples_changes (ts{columns}) FROM STDIN (FORMAT binary);

-- name: apply_changes
-- Writes changed rows; the bounds, which say nothing new, let the planner skip partitions.
UPDATE samples SET {assignments} FROM samples_changes
WHERE samples.system_id = {system_id} AND samples.ts = samples_changes.ts
  AND samples.ts >= {start} AND samples.ts < {stop};

-- name: drop_changes
-- Leaves no trace for a second merge in the same transaction.
DROP TABLE samples_changes;

-- name: days_of
-- Tells which of some UTC days hold samples.
SELECT day FROM sample_days WHERE system_id = %s AND day = ANY(%s);

-- name: all_days
-- Tells every UTC day that holds samples.
SELECT day FROM sample_days WHERE system_id = %s ORDER BY day;

-- name: extent
-- Tells the first and last instant without touching the samples.
SELECT min(first), max(last) FROM sample_days WHERE system_id = %s;

-- name: note_days
-- Keeps the list of days in step with rows just added.
INSERT INTO sample_days AS known (system_id, day, first, last, row_count)
SELECT %s, * FROM unnest(%s::date[], %s::timestamptz[], %s::timestamptz[], %s::int[])
ON CONFLICT (system_id, day) DO UPDATE SET
    first = least(known.first, excluded.first),
    last = greatest(known.last, excluded.last),
    row_count = known.row_count + excluded.row_count;

-- name: partitions_before
-- Partitions that end by a Monday, each with its own; they are called after the Monday they begin.
SELECT inhrelid::regclass::text FROM pg_inherits
JOIN pg_class ON pg_class.oid = inhrelid
WHERE inhparent = 'samples'::regclass AND relname < %s ORDER BY relname;

-- name: chunks_before
-- The end of the last chunk that lies wholly before a time.
SELECT max(range_end) FROM timescaledb_information.chunks
WHERE hypertable_name = 'samples' AND range_end <= %s;

-- name: drop_chunks
-- Drops whole chunks, compressed or not.
SELECT drop_chunks('samples', older_than => %s::timestamptz);

-- name: patience
-- Dropping a piece needs the table for itself; uploads must not queue behind a wait for that.
SET LOCAL lock_timeout = '10s';

-- name: drop_partition
-- Drops one partition.
DROP TABLE {partition};

-- name: days_before
-- Systems, days and rows that lie before a day.
SELECT count(DISTINCT system_id), count(*), coalesce(sum(row_count), 0)
FROM sample_days WHERE day < %s;

-- name: forget_days_before
-- Keeps the list of days in step with dropped pieces.
DELETE FROM sample_days WHERE day < %s;

-- name: rows_of
-- Rows of some systems.
SELECT coalesce(sum(row_count), 0) FROM sample_days WHERE system_id = ANY(%s);

-- name: forget_samples_of
-- Removes every row of some systems.
DELETE FROM samples WHERE system_id = ANY(%s);

-- name: forget_days_of
-- Removes their days.
DELETE FROM sample_days WHERE system_id = ANY(%s);
