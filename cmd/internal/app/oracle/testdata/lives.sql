-- Each unit from the day it was first shipped: how long it was watched, and at
-- which ages it was back.
WITH first AS (
  SELECT root, nth, shipped FROM (
    SELECT root, nth, shipped, row_number() OVER (PARTITION BY root ORDER BY nth) AS k
    FROM visit WHERE ending = 'shipped' AND shipped IS NOT NULL) WHERE k = 1)
SELECT unit.root, maker, model, tag,
  CAST(max(0, julianday(:asof) - julianday(first.shipped)) AS INTEGER) AS watched,
  json_group_array(CAST(max(0, julianday(later.received) - julianday(first.shipped)) AS INTEGER)) FILTER (WHERE later.id IS NOT NULL) AS ages
FROM first JOIN unit USING (root)
LEFT JOIN visit later ON later.root = first.root AND later.nth > first.nth AND later.received <= :asof
GROUP BY unit.root;
