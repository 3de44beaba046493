"""Django database engine ``fleet.embedded.backend``: PostgreSQL that starts when first used."""
