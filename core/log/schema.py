"""The tables of a shop's file, and how each version of them came from the one before."""

#: One SQL script a schema version, never edited after it was released; the next change is a new script.
MIGRATIONS = (
    """
    CREATE TABLE entries (
        seq BIGINT NOT NULL, id UUID PRIMARY KEY, kind VARCHAR NOT NULL,
        "at" TIMESTAMPTZ NOT NULL, noted_at TIMESTAMPTZ NOT NULL, "by" VARCHAR NOT NULL,
        machine VARCHAR, answer VARCHAR, card_set VARCHAR, cause VARCHAR, celsius DOUBLE,
        due TIMESTAMPTZ, ended VARCHAR, expected TIMESTAMPTZ, file VARCHAR, grams DOUBLE,
        humidity_pct DOUBLE, item VARCHAR, left_grams DOUBLE, material VARCHAR, minutes DOUBLE,
        note VARCHAR, on_platform BIGINT, "order" VARCHAR, place VARCHAR, pm25_ug_m3 DOUBLE,
        product VARCHAR, proving BOOLEAN, quantity DOUBLE, question VARCHAR, revision BIGINT,
        round UUID, saw VARCHAR, scrap BIGINT, scrap_cause VARCHAR, spare VARCHAR, spares VARCHAR,
        task VARCHAR, which UUID, why VARCHAR
    );
    CREATE TABLE setup (
        seq BIGINT NOT NULL, noted_at TIMESTAMPTZ NOT NULL, name VARCHAR NOT NULL, body VARCHAR NOT NULL
    );
    """,
    "ALTER TABLE entries ADD COLUMN reckoned VARCHAR;",
    """
    ALTER TABLE entries ADD COLUMN figure VARCHAR;
    ALTER TABLE entries ADD COLUMN "of" VARCHAR;
    ALTER TABLE entries ADD COLUMN who VARCHAR;
    """,
    "ALTER TABLE entries ADD COLUMN arrived_at TIMESTAMPTZ;",
    "CREATE TABLE meta (name VARCHAR PRIMARY KEY, value VARCHAR NOT NULL);",
)
