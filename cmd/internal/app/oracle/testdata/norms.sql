-- The readings that sets left with: of each visit the last one as left at each
-- point and of each kind of measurement. A visit after which the set was as it came
-- has none.
WITH taken AS (
  SELECT v.root, v.nth, trim(maker || ' ' || model) AS name, fold(model) <> '' AS named, spaced(data->>'point') AS point, data->>'point' AS spelled,
    coalesce(data->>'measure', '') AS measure, coalesce(data->'value'->>'unit', '') AS unit,
    coalesce(data->'value'->>'mant', 0) AS mant, coalesce(data->'value'->>'exp', 0) AS exp,
    row_number() OVER (PARTITION BY stay, spaced(data->>'point'), coalesce(data->>'measure', '') ORDER BY h.place DESC) AS back
  FROM happened h JOIN visit v ON v.id = h.stay JOIN unit USING (root)
  WHERE h.name = 'reading.taken' AND data->>'stage' = 'as left'
    AND coalesce(v.outcome, '') NOT IN ('returned-unrepaired', 'declined', 'kept-for-parts'))
SELECT * FROM taken ORDER BY root, nth;
