-- Units and visits of each model that is known.
SELECT maker, model, count(DISTINCT v.root) AS units, count(*) AS visits,
  min(on_day) AS first_seen, max(on_day) AS last_seen, years,
  count(DISTINCT v.root) * 1.0 / (SELECT count(*) FROM unit WHERE fold(model) <> '') AS share
FROM visit v JOIN shown USING (root), span WHERE fold(model) <> '' GROUP BY maker, model;
