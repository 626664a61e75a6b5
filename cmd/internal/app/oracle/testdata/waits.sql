-- Days that closed visits waited, by what for. Each day from the one received
-- to the one shipped is looked at on its own: of the waits that run on it, the
-- one that began last has it.
WITH RECURSIVE
  closed AS (SELECT id, received, shipped FROM visit WHERE ending = 'shipped' AND received IS NOT NULL AND shipped > received),
  begun AS (SELECT stay, day, place, data->>'for' AS what FROM happened WHERE name = 'waiting.begun' AND day IS NOT NULL),
  over AS (SELECT stay, day, place, coalesce(data->>'for', '') AS what FROM happened WHERE name = 'waiting.ended' AND day IS NOT NULL),
  wait AS (
    SELECT begun.stay, begun.place, begun.what, begun.day AS since, coalesce(
      (SELECT min(over.day) FROM over WHERE over.stay = begun.stay AND over.place > begun.place AND over.what IN ('', begun.what)),
      closed.shipped) AS till
    FROM begun JOIN closed ON closed.id = begun.stay),
  each(id, day, shipped) AS (
    SELECT id, received, shipped FROM closed WHERE id IN (SELECT stay FROM begun)
    UNION ALL SELECT id, date(day, '+1 day'), shipped FROM each WHERE date(day, '+1 day') < shipped),
  spent AS (
    SELECT id, (SELECT what FROM wait WHERE stay = id AND since <= each.day AND each.day < till ORDER BY place DESC LIMIT 1) AS what FROM each)
SELECT id, what, count(*) AS days FROM spent WHERE what IS NOT NULL GROUP BY 1, 2;
