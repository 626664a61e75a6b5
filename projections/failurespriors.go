package projections

import (
	"math"

	"oldhand/projections/stats"
)

// priors are what small groups lean on: for a model the models of its maker
// where there are enough, else all; for other groups all of them.
type priors struct {
	fits []fit // of each fault from all groups; behind them, in as many, those of each maker
	own  []int // where those of a group's maker begin, and zero where it has none
}

// fit is the prior of a fault that some groups give, if they do.
type fit struct {
	fault  int
	groups []int
	prior  *stats.Prior
}

// priors says which there may be. They are made one by one.
func (t *failureTable) priors(by string) *priors {
	p := &priors{own: make([]int, len(t.groups))}
	p.from(t, t.of(""))
	if by != "model" {
		return p
	}
	begin := map[string]int{"": 0}
	for i, g := range t.groups {
		maker := t.maker[g]
		at, known := begin[maker]
		if !known {
			at = len(p.fits)
			begin[maker] = at
			p.from(t, t.of(maker))
		}
		p.own[i] = at
	}
	return p
}

// of are the groups of a maker, or all, but for the one of which nothing is known.
func (t *failureTable) of(maker string) (groups []int) {
	for i, g := range t.groups {
		if g != "" && (maker == "" || t.maker[g] == maker) {
			groups = append(groups, i)
		}
	}
	return groups
}

// from adds the priors of all faults from some groups.
func (p *priors) from(t *failureTable, groups []int) {
	for j := range t.faults {
		p.fits = append(p.fits, fit{fault: j, groups: groups})
	}
}

func (f *fit) make(t *failureTable) {
	shares := make([]stats.Share, len(f.groups))
	for i, g := range f.groups {
		shares[i] = stats.Share{X: t.with[g][f.fault], N: t.seen[g]}
	}
	if prior, err := stats.LikelihoodFit(shares); err == nil {
		f.prior = &prior
	}
}

// unfit counts the faults of which all groups give none.
func (p *priors) unfit(faults int) (n int) {
	for _, f := range p.fits[:faults] {
		n += counted(f.prior == nil)
	}
	return n
}

// shrunk is the share of a group with a fault, as it is with the prior's help.
func (p *priors) shrunk(group, fault int, s stats.Share) (mean float64, ok bool) {
	prior := p.fits[fault].prior
	if own := p.fits[p.own[group]+fault].prior; own != nil {
		prior = own
	}
	if prior == nil {
		return 0, false
	}
	post, err := prior.Of(s)
	if err != nil {
		return 0, false
	}
	mean = post.Mean()
	return mean, !math.IsNaN(mean)
}
