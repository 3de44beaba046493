"""The small door to the samples: a hypertable where TimescaleDB is there, else partitions."""
