-- Visits by how long they lasted, or have lasted so far. {by} is what a visit is
-- grouped by. A visit that was closed with an end or a beginning of unknown day
-- counts as unknown.
SELECT v.id, {by} AS name,
  CASE WHEN received IS NULL OR ending = 'unknown' OR ending = 'shipped' AND shipped IS NULL THEN 'unknown' ELSE ending END AS ending,
  CAST(max(0, julianday(coalesce(shipped, :asof)) - julianday(received)) AS INTEGER) AS days
FROM visit v JOIN unit USING (root);
