package projections

import (
	"oldhand/events"
)

// modelKey is a maker and a model as they are compared.
type modelKey struct{ maker, model string }

func keyOf(maker, model string) modelKey {
	return modelKey{events.Key(maker), events.Key(model)}
}

// spellings counts how a maker and model were written. Spellings that differ
// in case, spaces or dashes are one model, shown as it was spelled most often.
type spellings map[[2]string]int

// usual is the most frequent spelling, of equals the first in order.
func (s spellings) usual() (best [2]string) {
	most := 0
	for sp, n := range s {
		if n > most || n == most && (sp[0] < best[0] || sp[0] == best[0] && sp[1] < best[1]) {
			best, most = sp, n
		}
	}
	return best
}

// names counts spellings by what they are compared as.
type names map[modelKey]spellings

// spelledOnce is the name that each group of an answer is shown by, from how
// many visits stand under each name. Makers and models are shown by their most
// frequent spelling; the names of other groups are the project's own.
func spelledOnce(grouping string, visits map[string]int) map[string]string {
	written, shown := names{}, map[string]string{}
	for name, n := range visits {
		written.add("", name, n)
	}
	for name := range visits {
		shown[name] = name
		if grouping == "model" || grouping == "maker" {
			shown[name] = written[keyOf("", name)].usual()[1]
		}
	}
	return shown
}

func (n names) add(maker, model string, by int) modelKey {
	k := keyOf(maker, model)
	if n[k] == nil {
		n[k] = spellings{}
	}
	n[k][[2]string{maker, model}] += by
	return k
}
