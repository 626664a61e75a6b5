-- Parts that went into units, by class and by value in one notation.
SELECT coalesce(data->>'component', '') AS component, marking(data->'in'->>'sections') AS value, count(*) AS used,
  sum(substr(place, 1, 4) = CAST(substr(:asof, 1, 4) - 1 AS TEXT)) AS used_last_year, years
FROM happened, span WHERE name = 'part.replaced' AND stay IS NOT NULL GROUP BY 1, 2;
