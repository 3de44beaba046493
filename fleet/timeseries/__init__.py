"""The small door to the samples: a hypertable where the extension is there, partitions where not."""
