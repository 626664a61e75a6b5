package main

// peerQuestion is a fleet question as the peers are asked it: statements that
// give all counts which the answer is drawn from, in the dialect that both
// speak. What is computed from the counts (limits, tests, curves) is not asked
// of them.
type peerQuestion struct {
	asks   []string
	theirs func(answers [][]line, c counts) error
	ours   func(rows []any, c counts) error
}

// Years, as asOf has them: the one before it, and its own with the five before.
const (
	lastYear = "2025"
	lastSix  = "BETWEEN 2021 AND 2026"
)

// again are the shipped visits and the day of the unit's next visit, if it has
// one.
const again = `WITH again AS (
	SELECT shipped, LEAD(received) OVER (PARTITION BY unit ORDER BY visit) AS next FROM visit)`

// againSame are the same with the unit's next visit at which one of the faults
// was found again.
const againSame = `WITH found AS (
		SELECT f.visit, MIN(g.visit) AS next FROM fault f
		JOIN fault g ON g.unit = f.unit AND g.component = f.component AND g.mode = f.mode AND g.visit > f.visit
		WHERE f.component <> '' GROUP BY f.visit),
	again AS (
		SELECT v.shipped, n.received AS next FROM visit v
		LEFT JOIN found f ON f.visit = v.visit LEFT JOIN visit n ON n.visit = f.next)`

// backAfter counts the shipped visits by the days to the next one, and those
// with none by the day they were shipped.
const backAfter = `
	SELECT CASE WHEN next IS NULL THEN 0 ELSE 1 END AS back,
		CASE WHEN next IS NULL THEN shipped WHEN next > shipped THEN next - shipped ELSE 0 END AS days, COUNT(*)
	FROM again WHERE shipped IS NOT NULL GROUP BY 1, 2`

// since are the units that were ever shipped, with their first such visit.
const since = `WITH since AS (
	SELECT v.unit, v.visit, v.shipped FROM visit v
	JOIN (SELECT MIN(visit) AS visit FROM visit WHERE shipped IS NOT NULL GROUP BY unit) f ON f.visit = v.visit)`

// peerQuestions are all questions, by name.
var peerQuestions = map[string]peerQuestion{
	"rarity": {
		asks:   []string{`SELECT maker, model, COUNT(*) FILTER (WHERE nr = 1), COUNT(*), MIN(day), MAX(day) FROM visit GROUP BY maker, model`},
		theirs: theirRarity, ours: ourRarity,
	},
	"failures": {
		asks: []string{
			`SELECT made, COUNT(*) FROM visit WHERE nr = 1 GROUP BY made`,
			`SELECT made, component, mode, COUNT(DISTINCT unit) FROM fault WHERE component <> '' GROUP BY made, component, mode`,
			`SELECT COUNT(*) FROM fault WHERE component = ''`,
		},
		theirs: theirFailures, ours: ourFailures,
	},
	"turnaround": {
		asks: []string{
			`SELECT days, COUNT(*) FROM visit WHERE days IS NOT NULL GROUP BY days`,
			`SELECT received, COUNT(*) FROM visit WHERE ending = 0 AND received IS NOT NULL GROUP BY received`,
			`SELECT what, CAST(SUM(days) AS BIGINT) FROM wait GROUP BY what`,
		},
		theirs: theirTurnaround, ours: ourTurnaround,
	},
	"comebacks": {
		asks: []string{
			again + backAfter,
			againSame + backAfter,
			since + `SELECT shipped, COUNT(*) FROM since GROUP BY shipped`,
			since + `SELECT CASE WHEN v.received > s.shipped THEN v.received - s.shipped ELSE 0 END, COUNT(*)
				FROM since s JOIN visit v ON v.unit = s.unit AND v.visit > s.visit WHERE v.received IS NOT NULL GROUP BY 1`,
			since + `SELECT s.unit, s.shipped, COUNT(*)
				FROM since s JOIN visit v ON v.unit = s.unit AND v.visit > s.visit WHERE v.received IS NOT NULL GROUP BY s.unit, s.shipped HAVING COUNT(*) >= 2`,
		},
		theirs: theirComeBacks, ours: ourComeBacks,
	},
	"parts": {
		asks:   []string{`SELECT component, value, COUNT(*), COUNT(*) FILTER (WHERE year = ` + lastYear + `) FROM part GROUP BY component, value`},
		theirs: theirParts, ours: ourParts,
	},
	"year": {
		asks: []string{
			`SELECT v.came, COUNT(*), COUNT(*) FILTER (WHERE v.nr = 1), COUNT(*) FILTER (WHERE v.received - b.shipped <= 90)
				FROM visit v LEFT JOIN visit b ON b.unit = v.unit AND b.nr = v.nr - 1 WHERE v.came ` + lastSix + ` GROUP BY v.came`,
			`SELECT went, COUNT(*), COUNT(*) FILTER (WHERE outcome = 'repaired') FROM visit WHERE went ` + lastSix + ` GROUP BY went`,
			`SELECT came, days, COUNT(*) FROM visit WHERE came ` + lastSix + ` AND days IS NOT NULL GROUP BY came, days`,
			`SELECT came, received, COUNT(*) FROM visit WHERE came ` + lastSix + ` AND ending = 0 AND received IS NOT NULL GROUP BY 1, 2`,
			`SELECT year, COUNT(*) FROM part WHERE year ` + lastSix + ` GROUP BY year`,
			`SELECT year, currency, CAST(SUM(minor) AS BIGINT) FROM bill WHERE year ` + lastSix + ` GROUP BY year, currency`,
			topThree + `SELECT came, component AS one, mode AS two, COUNT(DISTINCT visit) AS n FROM fault WHERE came ` + lastSix + ` AND component <> '' GROUP BY 1, 2, 3` + ofEachYear,
			topThree + `SELECT came, maker AS one, model AS two, COUNT(*) AS n FROM visit WHERE came ` + lastSix + ` GROUP BY 1, 2, 3` + ofEachYear,
		},
		theirs: theirYears, ours: ourYears,
	},
	"outcomes": {
		asks:   []string{`SELECT outcome, COUNT(*) FROM visit WHERE ending = 1 GROUP BY outcome`},
		theirs: theirOutcomes, ours: ourOutcomes,
	},
	"norms": {
		asks: []string{
			`SELECT maker, model, point, measure, base, COUNT(DISTINCT unit) FROM reading WHERE ` + leftWith + ` GROUP BY 1, 2, 3, 4, 5`,
			`SELECT maker, model, point, measure, base, mant, exp, COUNT(*) FROM reading WHERE ` + leftWith + ` GROUP BY 1, 2, 3, 4, 5, 6, 7`,
		},
		theirs: theirNorms, ours: ourNorms,
	},
}

// leftWith are the readings that count for what is usual.
const leftWith = `left_with = 1 AND base <> '' AND base <> '{yes}' AND measure <> 'dial-am' AND measure <> 'dial-fm' AND model <> ''`

// The three most frequent of every year, around the statement that counts.
const (
	topThree   = `SELECT came, place, n FROM (SELECT came, n, ROW_NUMBER() OVER (PARTITION BY came ORDER BY n DESC, one, two) AS place FROM (`
	ofEachYear = `) AS counted) AS placed WHERE place <= 3`
)
