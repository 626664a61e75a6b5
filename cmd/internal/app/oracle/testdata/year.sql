-- What came in and went out in the year :year, a visit counting in the year in
-- which it began, a shipping, a part and a charge in their own.
WITH came AS (SELECT * FROM visit WHERE substr(on_day, 1, 4) = :year)
SELECT CAST(:year AS INTEGER) AS year,
  (SELECT count(*) FROM came) AS received,
  (SELECT count(*) FROM came WHERE nth = 1) AS new_units,
  (SELECT count(*) FROM visit WHERE ending = 'shipped' AND substr(shipped, 1, 4) = :year) AS shipped,
  (SELECT count(*) FROM visit WHERE ending = 'shipped' AND substr(shipped, 1, 4) = :year AND outcome = 'repaired') AS repaired,
  (SELECT count(*) FROM came JOIN visit p ON p.root = came.root AND p.nth = came.nth - 1
   WHERE p.ending = 'shipped' AND julianday(came.received) - julianday(p.shipped) <= 90) AS come_backs,
  (SELECT count(*) FROM happened WHERE name = 'part.replaced' AND stay IS NOT NULL AND substr(place, 1, 4) = :year) AS parts,
  (SELECT json_group_object(currency, cents) FROM (
    SELECT coalesce(nullif(data->>'currency', ''), 'not said') AS currency, sum(data->>'charge') AS cents
    FROM happened WHERE name = 'unit.shipped' AND stay IS NOT NULL AND substr(place, 1, 4) = :year AND data->>'charge' > 0 GROUP BY 1)) AS charged,
  (SELECT json_group_array(said) FROM (
    SELECT replace(trim(component || ' ' || mode), '-', ' ') || ' (' || count(*) || ')' AS said
    FROM fault JOIN came ON came.id = fault.stay GROUP BY component, mode ORDER BY count(*) DESC, component, mode LIMIT 3)) AS top_faults,
  (SELECT json_group_array(said) FROM (
    SELECT trim(maker || ' ' || model) || ' (' || all_of_it || ')' AS said FROM (
      SELECT maker, model, fold(maker) AS m, fold(model) AS d, sum(count(*)) OVER same AS all_of_it,
        row_number() OVER (PARTITION BY fold(maker), fold(model) ORDER BY count(*) DESC, maker, model) AS best
      FROM came JOIN unit USING (root) GROUP BY maker, model
      WINDOW same AS (PARTITION BY fold(maker), fold(model)))
    WHERE best = 1 ORDER BY all_of_it DESC, m, d LIMIT 3)) AS top_models;
