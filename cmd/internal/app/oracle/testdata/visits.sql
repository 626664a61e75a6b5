-- From the facts that stand to units and their visits.
--
-- fact(id, name, unit, visit, day, place, data): one row a fact. visit is the
-- intake that the fact names, empty where it names none. day is null where it
-- is not known when it happened; place sorts, by that day or else the day of
-- recording, then by id.

-- Ids that were said to be one set, in however many steps, are the smallest.
CREATE TABLE root AS
WITH RECURSIVE
  same(a, b) AS (
    SELECT unit, data->>'other' FROM fact WHERE name = 'unit.same'
    UNION SELECT data->>'other', unit FROM fact WHERE name = 'unit.same'),
  id(unit) AS (SELECT unit FROM fact UNION SELECT a FROM same),
  reach(a, b) AS (
    SELECT unit, unit FROM id
    UNION SELECT reach.a, same.b FROM reach JOIN same ON same.a = reach.b)
SELECT a AS unit, min(b) AS root FROM reach GROUP BY a;
CREATE UNIQUE INDEX root_unit ON root (unit);

CREATE TABLE told AS SELECT fact.*, root FROM fact JOIN root USING (unit);
CREATE INDEX told_root ON told (root, place);
CREATE INDEX told_name ON told (name);

-- An intake begins a visit, unless it is of the day on which a visit began that
-- is still open: then the same visit was entered twice.
CREATE TABLE intake AS
SELECT id, root, day, substr(place, 1, 10) AS on_day, place, data,
  coalesce(lag(substr(place, 1, 10)) OVER unit = substr(place, 1, 10), 0)
  AND NOT EXISTS (
    SELECT 1 FROM told s WHERE s.root = told.root AND s.name = 'unit.shipped' AND s.place < told.place
    AND s.place >= substr(told.place, 1, 10)) AS again
FROM told WHERE name = 'unit.received'
WINDOW unit AS (PARTITION BY root ORDER BY place);
CREATE INDEX intake_id ON intake (id);

CREATE TABLE began AS
SELECT id, root, day, on_day, place, row_number() OVER (PARTITION BY root ORDER BY place) AS nth
FROM intake WHERE NOT again;
CREATE INDEX began_root ON began (root, place);

-- A fact belongs to the visit whose intake it names, and to none if that intake
-- is not here or was taken back. One that names no visit belongs to the last that
-- had begun.
CREATE TABLE happened AS
SELECT told.*, CASE WHEN visit <> '' THEN
  (SELECT b.id FROM intake i JOIN began b ON b.root = i.root AND b.place <= i.place
   WHERE i.id = told.visit AND i.root = told.root ORDER BY b.place DESC LIMIT 1)
  ELSE (SELECT b.id FROM began b WHERE b.root = told.root AND b.place < told.place ORDER BY b.place DESC LIMIT 1) END AS stay
FROM told WHERE name <> 'unit.received';
CREATE INDEX happened_stay ON happened (stay, name);

-- A visit is open until it is shipped. Received again without having been
-- shipped, the unit left on a day nobody wrote down.
CREATE TABLE visit AS
WITH ship AS (
  SELECT stay, day, data->>'outcome' AS outcome, row_number() OVER (PARTITION BY stay ORDER BY place DESC) AS back
  FROM happened WHERE name = 'unit.shipped' AND stay IS NOT NULL)
SELECT began.id, root, nth, began.day AS received, on_day, place,
  CASE WHEN ship.stay IS NOT NULL THEN 'shipped'
       WHEN lead(nth) OVER (PARTITION BY root ORDER BY nth) THEN 'unknown'
       ELSE 'open' END AS ending,
  ship.day AS shipped, ship.outcome
FROM began LEFT JOIN ship ON ship.stay = began.id AND back = 1;
CREATE UNIQUE INDEX visit_id ON visit (id);
CREATE INDEX visit_root ON visit (root, nth);

-- What a unit is: what it was last identified as, else what it first claimed.
CREATE TABLE said AS
SELECT root, place, name = 'unit.identified' AS sure, data FROM told WHERE name IN ('unit.received', 'unit.identified');
CREATE INDEX said_root ON said (root, place);

CREATE TABLE unit AS
SELECT DISTINCT root,
  coalesce((SELECT data->>'maker' FROM said s WHERE s.root = visit.root AND sure AND data->>'maker' <> '' ORDER BY place DESC LIMIT 1),
           (SELECT data->>'maker' FROM said s WHERE s.root = visit.root AND NOT sure AND data->>'maker' <> '' ORDER BY place LIMIT 1), '') AS maker,
  coalesce((SELECT data->>'model' FROM said s WHERE s.root = visit.root AND sure AND data->>'model' <> '' ORDER BY place DESC LIMIT 1),
           (SELECT data->>'model' FROM said s WHERE s.root = visit.root AND NOT sure AND data->>'model' <> '' ORDER BY place LIMIT 1), '') AS model,
  coalesce((SELECT data->>'kind_of_set' FROM said s WHERE s.root = visit.root AND sure AND data->>'kind_of_set' <> '' ORDER BY place DESC LIMIT 1),
           (SELECT data->>'kind_of_set' FROM said s WHERE s.root = visit.root AND NOT sure AND data->>'kind_of_set' <> '' ORDER BY place LIMIT 1), '') AS kind,
  coalesce((SELECT data->>'year_from' FROM said s WHERE s.root = visit.root AND sure AND data->>'year_from' <> 0 ORDER BY place DESC LIMIT 1),
           (SELECT data->>'year_from' FROM said s WHERE s.root = visit.root AND NOT sure AND data->>'year_from' <> 0 ORDER BY place LIMIT 1), 0) AS made,
  (SELECT data->>'tag' FROM said s WHERE s.root = visit.root AND NOT sure AND data->>'tag' <> '' ORDER BY place LIMIT 1) AS tag
FROM visit;
CREATE UNIQUE INDEX unit_root ON unit (root);

-- A maker and a model are compared folded and shown as most units have them.
CREATE TABLE spelling AS
WITH counted AS (SELECT fold(maker) AS m, fold(model) AS d, maker, model, count(*) AS n FROM unit GROUP BY 1, 2, 3, 4)
SELECT m, d, maker, model FROM (
  SELECT *, row_number() OVER (PARTITION BY m, d ORDER BY n DESC, maker, model) AS best FROM counted) WHERE best = 1;

CREATE TABLE maker AS
WITH counted AS (SELECT fold(maker) AS m, maker, count(*) AS n FROM unit GROUP BY 1, 2)
SELECT m, maker FROM (SELECT *, row_number() OVER (PARTITION BY m ORDER BY n DESC, maker) AS best FROM counted) WHERE best = 1;

CREATE TABLE shown AS
SELECT root, spelling.maker, spelling.model, trim(spelling.maker || ' ' || spelling.model) AS name, maker.maker AS made_by, made
FROM unit JOIN spelling ON spelling.m = fold(unit.maker) AND d = fold(unit.model) JOIN maker ON maker.m = fold(unit.maker);
CREATE UNIQUE INDEX shown_root ON shown (root);

-- The faults of each visit, each once, that name what had failed.
CREATE TABLE fault AS
SELECT DISTINCT stay, v.root, h.data->>'component' AS component, coalesce(h.data->>'mode', '') AS mode
FROM happened h JOIN visit v ON v.id = h.stay WHERE name = 'fault.found' AND h.data->>'component' <> '';
CREATE INDEX fault_stay ON fault (stay);

-- From the first unit's arrival to the day asked for, in years of 365.25 days.
CREATE TABLE span AS
SELECT (julianday((SELECT day FROM asof)) - julianday(min(on_day)) + 1) / 365.25 AS years FROM visit;
