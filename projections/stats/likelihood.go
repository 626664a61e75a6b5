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

func newBetaBinomial(groups []Share) betaBinomial {
	return betaBinomial{
		together(groups, func(g Share) int { return g.X }),
		together(groups, func(g Share) int { return g.N - g.X }),
		together(groups, func(g Share) int { return g.N }),
	}
}

// fewAlike is below which counts there are many groups with the same.
const fewAlike = 64

// together notes how many groups have each small count; of large ones there are few alike.
func together(groups []Share, count func(Share) int) []alike {
	var few [fewAlike]int
	all := make([]alike, 0, len(groups))
	for _, g := range groups {
		if n := count(g); n < fewAlike {
			few[n]++
		} else {
			all = append(all, alike{float64(n), 1})
		}
	}
	for n, times := range few {
		if n > 0 && times > 0 {
			all = append(all, alike{float64(n), float64(times)})
		}
	}
	return all
}

// height is the likelihood at a place.
func (l betaBinomial) height(p Prior) float64 {
	var a, b, all rising
	a.begin(p.A)
	b.begin(p.B)
	all.begin(p.A + p.B)
	return a.log(l.withs) + b.log(l.withouts) - all.log(l.alls)
}

// hill is how the likelihood runs at a place: its slopes and bends in ln A and ln B.
type hill struct{ slopeA, slopeB, bendAA, bendBB, bendsAB float64 }

func (l betaBinomial) at(p Prior) hill {
	var a, b, all rising
	a.begin(p.A)
	b.begin(p.B)
	all.begin(p.A + p.B)
	slopeA, bendA := a.slopes(l.withs)
	slopeB, bendB := b.slopes(l.withouts)
	slopeAll, bendAll := all.slopes(l.alls)
	return hill{
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

	// A step goes too far where the likelihood falls behind it nearly as steeply
	// as it rose.
	tooFar = 0.9

	// By how much it may fall there all the same, as a part of its bends. At the
	// top slopes are what rounding leaves, and to refuse a step for that would be
	// to stop short of it.
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
	worth := func(weight float64) Prior { return Prior{mean * weight, (1 - mean) * weight} }
	height, why := l.height(worth(mostWeight)), NoneFound
	reached := 0.0
	var known tops
	for _, weight := range startWeights {
		if weight < reached {
			continue // a climb from below came by here
		}
		p, ends := l.climb(worth(weight), known)
		if reached = p.A + p.B; ends == NoSpread {
			reached = mostWeight
		}
		if ends == 0 {
			if p != known.top {
				if h := l.height(p); h > height {
					top, height, why = p, h, 0
				}
			}
			known = tops{p, weight}
		}
		if ends != NoneFound && why == NoneFound { // without end, or a top below that of groups all alike
			why = NoSpread
		}
	}
	return top, why
}

// tops is the top that climbs from below a weight came to, if from is not zero.
type tops struct {
	top  Prior
	from float64
}

// leads reports that a climb comes to the same top: it is next to it, or stands
// where an earlier climb to it began or came by.
func (t tops) leads(p Prior) bool {
	near := func(a, b float64) bool { return a < 1.1*b && b < 1.1*a }
	return t.from > 0 && (p.A+p.B <= t.from || near(p.A, t.top.A) && near(p.B, t.top.B))
}

// climb goes up from a prior to a top. It looks at slopes alone: a height would cost
// more than they do.
func (l betaBinomial) climb(p Prior, known tops) (top Prior, ends Unfit) {
	if known.leads(p) {
		return known.top, 0
	}
	here, damp := l.at(p), 0.0
	for range mostSteps {
		if known.leads(p) {
			return known.top, 0
		}
		if a, b, level := here.level(); level {
			return Prior{p.A * math.Exp(a), p.B * math.Exp(b)}, 0
		}
		if p.A+p.B > mostWeight {
			return Prior{}, NoSpread
		}
		if a, b, ok := here.step(damp); ok {
			next := Prior{p.A * math.Exp(a), p.B * math.Exp(b)}
			there := l.at(next)
			if there.along(a, b) >= -tooFar*here.along(a, b)-rounding*here.bent() {
				p, here, damp = next, there, damp/10
				continue
			}
		}
		damp = max(10*damp, 1e-3*here.bent())
	}
	return Prior{}, NoneFound
}

// bent is how large the bends are.
func (h hill) bent() float64 { return 1 + math.Abs(h.bendAA) + math.Abs(h.bendBB) }

// along is how the likelihood rises along a step.
func (h hill) along(a, b float64) float64 { return a*h.slopeA + b*h.slopeB }

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
