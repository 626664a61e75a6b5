-- Each visit shipped on a known day with the days until the unit was back: for
-- anything, and with a fault that this visit had too. Null where it was not; then
-- watched is how long it has been gone.
WITH later AS (
  SELECT a.id, min(b.nth) AS nth FROM visit a JOIN visit b ON b.root = a.root AND b.nth > a.nth AND b.received IS NOT NULL GROUP BY a.id),
again AS (
  SELECT a.id, min(b.nth) AS nth FROM visit a JOIN visit b ON b.root = a.root AND b.nth > a.nth AND b.received IS NOT NULL
  WHERE EXISTS (SELECT 1 FROM fault x JOIN fault y USING (component, mode) WHERE x.stay = a.id AND y.stay = b.id) GROUP BY a.id)
SELECT v.id,
  CAST(max(0, julianday(n.received) - julianday(v.shipped)) AS INTEGER) AS any,
  CAST(max(0, julianday(s.received) - julianday(v.shipped)) AS INTEGER) AS same,
  CAST(max(0, julianday(:asof) - julianday(v.shipped)) AS INTEGER) AS watched
FROM visit v
LEFT JOIN later ON later.id = v.id LEFT JOIN visit n ON n.root = v.root AND n.nth = later.nth
LEFT JOIN again ON again.id = v.id LEFT JOIN visit s ON s.root = v.root AND s.nth = again.nth
WHERE v.ending = 'shipped' AND v.shipped IS NOT NULL;
