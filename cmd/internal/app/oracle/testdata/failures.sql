-- Units with a fault among the units of a group; x of n in the group, y of m in
-- all other groups whose name is known. {by} is what a unit is grouped by.
WITH member AS (SELECT root, {by} AS name FROM shown),
  seen AS (SELECT name, count(*) AS n FROM member GROUP BY name),
  hit AS (SELECT name, component, mode, count(DISTINCT root) AS x FROM member JOIN fault USING (root) GROUP BY 1, 2, 3),
  everyone AS (SELECT count(*) AS n FROM member WHERE name <> ''),
  hits AS (SELECT component, mode, sum(x) AS x FROM hit WHERE name <> '' GROUP BY 1, 2)
SELECT hit.name AS "group", component, mode, hit.x AS units, seen.n AS of,
  coalesce(hits.x, 0) - hit.x AS y, everyone.n - seen.n AS m
FROM hit JOIN seen USING (name) LEFT JOIN hits USING (component, mode), everyone;
