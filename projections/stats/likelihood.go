package stats

import "math"

// LikelihoodFit fits the prior under which the groups' counts are most likely.
// Larger groups count for more in it than in MomentFit.
//
// It climbs in ln A and ln B by Newton's steps, damped while the likelihood is
// not curved like a hill. There can be two tops, as where a few small groups
// differ widely and the large ones do not, so it climbs from loose priors and
// from strong ones and takes the highest top. Where A and B growing without end
// does better than any top, the groups do not differ.
func LikelihoodFit(groups []Share) (Prior, error) {
	if err := checkGroups("likelihood", groups); err != nil {
		return Prior{}, err
	}
	prior, why := newBetaBinomial(groups).best(groups)
	if why != 0 {
		return Prior{}, &UnfitError{"likelihood", len(groups), why}
	}
	return prior, nil
}

// betaBinomial is the likelihood of groups' counts. A group of x in n gives
// ln(A+j) for each j below x, the same for B and n-x, and takes ln(A+B+j) for
// each j below n.
type betaBinomial struct{ withs, withouts, alls []alike }

// alike is that some groups have a count of n.
type alike struct{ n, groups float64 }

func newBetaBinomial(groups []Share) betaBinomial {
	var l betaBinomial
	for _, g := range groups {
		l.withs = another(l.withs, g.X)
		l.withouts = another(l.withouts, g.N-g.X)
		l.alls = another(l.alls, g.N)
	}
	return l
}

// another notes a group with a count of n.
func another(counts []alike, n int) []alike {
	if n == 0 {
		return counts
	}
	for i := range counts {
		if counts[i].n == float64(n) {
			counts[i].groups++
			return counts
		}
	}
	return append(counts, alike{float64(n), 1})
}

// sums are the sum of the groups' rises from v and its first two derivatives in
// v.
func sums(counts []alike, v float64) (log, slope, bend float64) {
	r := risingFrom(v)
	for _, c := range counts {
		to := r.to(c.n)
		log += c.groups * to.log
		slope += c.groups * to.slope
		bend += c.groups * to.bend
	}
	return log, slope, bend
}

// hill is the likelihood at a place, with its slopes and bends in ln A and ln B.
type hill struct {
	height                  float64
	slopeA, slopeB          float64
	bendAA, bendBB, bendsAB float64
}

func (l betaBinomial) at(p Prior) hill {
	logA, slopeA, bendA := sums(l.withs, p.A)
	logB, slopeB, bendB := sums(l.withouts, p.B)
	logAll, slopeAll, bendAll := sums(l.alls, p.A+p.B)
	return hill{
		height:  logA + logB - logAll,
		slopeA:  p.A * (slopeA - slopeAll),
		slopeB:  p.B * (slopeB - slopeAll),
		bendAA:  p.A*(slopeA-slopeAll) + p.A*p.A*(bendA-bendAll),
		bendBB:  p.B*(slopeB-slopeAll) + p.B*p.B*(bendB-bendAll),
		bendsAB: -p.A * p.B * bendAll,
	}
}

// startWeights are how many cases the priors are worth that the climbs start at.
var startWeights = []float64{1, 10, 100, 1000, 10000}

const (
	// A prior worth a million cases leaves no group a rate of its own: the
	// climb has no end there.
	mostWeight = 1e6

	// How far down a step may lead. At the top all heights are equal but for
	// rounding, and to refuse a step for that would be to stop short of it.
	rounding = 1e-12

	mostSteps = 500
)

// best is the highest top there is.
func (l betaBinomial) best(groups []Share) (Prior, Unfit) {
	with, all, between := 0, 0, false
	for _, g := range groups {
		with, all = with+g.X, all+g.N
		between = between || g.X > 0 && g.X < g.N
	}
	if !between { // A and B vanishing explains it best
		return Prior{}, AllOrNothing
	}
	mean := float64(with) / float64(all)
	var top Prior
	alike := Prior{mean * mostWeight, (1 - mean) * mostWeight}
	height, why := l.at(alike).height, NoneFound
	reached := 0.0
	var known tops
	for _, weight := range startWeights {
		if weight < reached {
			continue // a climb from below came by here
		}
		p, h, ends := l.climb(Prior{mean * weight, (1 - mean) * weight}, known)
		if ends == 0 {
			known = tops{p, h, weight}
		}
		if reached = p.A + p.B; ends == NoSpread {
			reached = mostWeight
		}
		switch {
		case ends == 0 && h > height:
			top, height, why = p, h, 0
		case ends != NoneFound && why == NoneFound: // without end, or a top below that of groups all alike
			why = NoSpread
		}
	}
	return top, why
}

// tops is the top that climbs from below a weight came to, if from is not zero.
type tops struct {
	top    Prior
	height float64
	from   float64
}

// leads reports that a climb comes to the same top: it is next to it, or stands
// where an earlier climb to it began or came by.
func (t tops) leads(p Prior) bool {
	near := func(a, b float64) bool { return a < 1.1*b && b < 1.1*a }
	return t.from > 0 && (p.A+p.B <= t.from || near(p.A, t.top.A) && near(p.B, t.top.B))
}

// climb goes up from a prior to a top and gives its height.
func (l betaBinomial) climb(p Prior, known tops) (top Prior, height float64, ends Unfit) {
	if known.leads(p) {
		return known.top, known.height, 0
	}
	here, damp := l.at(p), 0.0
	for range mostSteps {
		if known.leads(p) {
			return known.top, known.height, 0
		}
		if a, b, level := here.level(); level {
			return Prior{p.A * math.Exp(a), p.B * math.Exp(b)}, here.height, 0
		}
		if p.A+p.B > mostWeight {
			return Prior{}, 0, NoSpread
		}
		stepA, stepB, ok := here.step(damp)
		if ok {
			next := Prior{p.A * math.Exp(stepA), p.B * math.Exp(stepB)}
			if there := l.at(next); there.height >= here.height-rounding*(1+math.Abs(here.height)) {
				p, here, damp = next, there, damp/10
				continue
			}
		}
		damp = max(10*damp, 1e-3*(1+math.Abs(here.bendAA)+math.Abs(here.bendBB)))
	}
	return Prior{}, 0, NoneFound
}

// level says that the place is the top: every way is down, and Newton's step to
// the top is next to none. A slope next to none would not do. On the way to
// groups all alike the slope vanishes too, but the step stays long. The step is
// given too: with it the top has all digits there are, whichever way led to it.
func (h hill) level() (a, b float64, ok bool) {
	a, b, ok = h.step(0)
	return a, b, ok && max(math.Abs(a), math.Abs(b)) < 1e-7
}

// step is Newton's, with the bends made stronger by damp; not ok where even so
// they are not a hill's. It goes by at most a factor of e^2 a step.
func (h hill) step(damp float64) (a, b float64, ok bool) {
	aa, bb := h.bendAA-damp, h.bendBB-damp
	det := aa*bb - h.bendsAB*h.bendsAB
	if !(aa < 0 && det > 0) {
		return 0, 0, false
	}
	a = (h.bendsAB*h.slopeB - bb*h.slopeA) / det
	b = (h.bendsAB*h.slopeA - aa*h.slopeB) / det
	if far := max(math.Abs(a), math.Abs(b)) / 2; far > 1 {
		a, b = a/far, b/far
	}
	return a, b, true
}
