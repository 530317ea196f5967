"""A big invented club written by PostgreSQL itself, in sets: no row passes through Python.

Eight waters, 480 pegs, 600 members, a match for every thirty returns; of the returns four in a hundred
have two parts, one has three, one in twenty has no weight that is known.
"""

from typing import LiteralString

import psycopg

#: Keys of children are not looked at while the rows are invented: they are right by construction.
_UNCHECKED: LiteralString = "SET session_replication_role = replica"

_PLACES: LiteralString = """
INSERT INTO clubdata_club (uid, slug, name, time_zone, conventions, revision, places_revision)
    VALUES (gen_random_uuid(), 'curlew', 'Curlew Club (invented)', 'Europe/London', '{}', 1, 0);
INSERT INTO clubdata_water (uid, club_id, name, kind, latitude, longitude, time_zone)
    SELECT gen_random_uuid(), club.id, 'Water ' || number, 'stillwater', 53, 0, ''
    FROM clubdata_club club, generate_series(1, 8) number;
INSERT INTO clubdata_peg
    (uid, club_id, water_id, label, bank, bank_order, accessible, access_note, in_use)
    SELECT gen_random_uuid(), club_id, water.id, number, '', number, false, '', true
    FROM clubdata_water water, generate_series(1, 60) number ORDER BY water.id, number;
INSERT INTO clubdata_member (uid, club_id, number, name)
    SELECT gen_random_uuid(), club.id, 'M' || number, ''
    FROM clubdata_club club, generate_series(1, 600) number;
INSERT INTO clubdata_hookbait (uid, club_id, name, colour, state, size)
    SELECT gen_random_uuid(), club.id, 'Bait ' || number, '', '', ''
    FROM clubdata_club club, generate_series(1, 12) number;
INSERT INTO clubdata_rigtype (uid, club_id, name)
    SELECT gen_random_uuid(), club.id, 'Rig ' || number FROM clubdata_club club, generate_series(1, 5) number;
INSERT INTO clubdata_method (uid, club_id, name)
    SELECT gen_random_uuid(), club.id, 'Method ' || number
    FROM clubdata_club club, generate_series(1, 4) number;
"""

_MATCHES: LiteralString = """
INSERT INTO clubdata_match (uid, club_id, water_id, code, held_on, title)
    SELECT gen_random_uuid(), 1, 1 + number %% 8, 'C' || number, date '2010-01-01' + number %% 5400, ''
    FROM generate_series(1, %(matches)s) number
"""

_RETURNS: LiteralString = """
INSERT INTO clubdata_return (uid, club_id, member_id, water_id, peg_id, match_id, session_kind, fished_on,
    hours, rods, outcome, weight_g, weight_typed, weight_unit, weight_step, notes, source, entered_at)
SELECT gen_random_uuid(), 1, 1 + (random() * 599)::int, 1 + match %% 8,
    60 * (match %% 8) + 1 + (random() * 59)::int, CASE WHEN number %% 2 = 0 THEN match END,
    CASE WHEN number %% 2 = 0 THEN 'match' ELSE 'pleasure' END, date '2010-01-01' + match %% 5400,
    CASE WHEN outcome <> 'did_not_fish' THEN
        CASE WHEN number %% 2 = 0 THEN 5 ELSE round((1.5 + random() * 10)::numeric * 2) / 2 END END,
    CASE WHEN number %% 9 = 0 THEN 2 ELSE 1 END, outcome,
    CASE outcome WHEN 'blank' THEN 0 WHEN 'weighed' THEN weight_g WHEN 'estimated' THEN weight_g
        WHEN 'over_net_limit' THEN weight_g END,
    '', CASE WHEN has_weight THEN 'gram' ELSE '' END, CASE WHEN has_weight THEN 10 END,
    '', 'sheet', now()
FROM (
    SELECT number, 1 + number / 30 AS match, 10 + 10 * (900 * -ln(1 - random()))::int AS weight_g, outcome,
        outcome IN ('weighed', 'estimated', 'over_net_limit') AS has_weight
    FROM (
        SELECT number, (ARRAY['did_not_weigh', 'did_not_fish', 'counted_only', 'over_net_limit', 'blank',
            'blank', 'estimated', 'estimated'] || array_fill('weighed'::text, ARRAY[92]))
            [1 + (number * 37) %% 100] AS outcome
        FROM generate_series(1, %(rows)s) number
    ) told
) drawn
"""

_PARTS: LiteralString = """
INSERT INTO clubdata_sessionpart (uid, club_id, session_id, part_order, method_id, hook_bait_id,
    rig_type_id, distance_m, hours)
SELECT gen_random_uuid(), 1, id, part, 1 + (random() * 3)::int,
    CASE WHEN random() > .04 THEN 1 + (random() * 11)::int END,
    CASE WHEN random() > .04 THEN 1 + (random() * 4)::int END,
    CASE WHEN random() > .04 THEN round((3 + random() * 12)::numeric * 2) / 2 END,
    CASE WHEN part > 1 THEN round(hours / 4, 2) END
FROM clubdata_return,
    generate_series(1, CASE WHEN id % 100 < 4 THEN 2 WHEN id % 100 = 4 THEN 3 ELSE 1 END) part
WHERE outcome <> 'did_not_fish'
"""

_CONDITIONS: LiteralString = """
INSERT INTO clubdata_conditions (uid, club_id, session_id, wind_force, water_temperature_c, tow)
SELECT gen_random_uuid(), 1, id, CASE WHEN random() > .05 THEN (random() * 7)::int END,
    CASE WHEN random() > .1 THEN round((4 + random() * 18)::numeric, 1) END, ''
FROM clubdata_return WHERE id % 20 > 0
"""

_CATCH: LiteralString = """
INSERT INTO clubdata_species (uid, club_id, name, scientific_name, fao_code, "group")
    VALUES (gen_random_uuid(), 1, 'Roach', 'Rutilus rutilus', '', '');
INSERT INTO clubdata_catchline (uid, club_id, session_id, species_id, fish_count, weight_g, lost_count)
    SELECT gen_random_uuid(), 1, id, 1, 5, CASE WHEN id % 3 > 0 THEN 1200 END, 0
    FROM clubdata_return WHERE outcome = 'counted_only';
"""

_SETTLE: tuple[LiteralString, ...] = ("VACUUM ANALYZE", "CHECKPOINT")


def invent_rows(database: str, *, rows: int, seed: int) -> None:
    """Fill an empty, migrated database; the same seed draws the same numbers (the public ids are new)."""
    with psycopg.connect(database, autocommit=True) as connection:
        connection.execute(_UNCHECKED)
        connection.execute("SELECT setseed(%s)", [1 / (1 + seed)])
        connection.execute(_PLACES)
        connection.execute(_MATCHES, {"matches": 1 + rows // 30})
        connection.execute(_RETURNS, {"rows": rows})
        for statement in (_PARTS, _CONDITIONS, _CATCH, *_SETTLE):
            connection.execute(statement)
