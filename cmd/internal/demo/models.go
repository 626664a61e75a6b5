package demo

// group is a column of the table of faults: sets that fail alike.
type group uint8

const (
	tubeMaster group = iota
	solidMaster
	station
	tubeRadio
	hifi
	tubeAmplifier
	solidAmplifier
	groups // how many there are
)

func (g group) tubes() bool { return g == tubeMaster || g == tubeRadio || g == tubeAmplifier }

// model is a model of an invented maker.
type model struct {
	maker, name string
	kind        string // of set, id of package trade's table
	group       group
	from, to    int // years made
	share       int // of the sets that come in
	fm, stereo  bool
	letter      byte // that its serials begin with
}

// models are all models that come in. The last two are rare.
var models = []model{
	{"Pellowick", "PK-31", "intercom-master", tubeMaster, 1958, 1964, 70, true, false, 'P'},
	{"Pellowick", "PK-47", "intercom-master", solidMaster, 1965, 1972, 190, true, false, 'K'},
	{"Pellowick", "PK-62 Stereo", "intercom-master", solidMaster, 1973, 1981, 90, true, true, 'L'},
	{"Ulverdine", "660", "intercom-master", tubeMaster, 1961, 1968, 45, true, false, 'U'},
	{"Ulverdine", "670", "intercom-master", solidMaster, 1969, 1979, 80, true, false, 'W'},
	{"Pellowick", "PS-12", "room-station", station, 1958, 1981, 60, false, false, 'R'},
	{"Ulverdine", "61-R", "room-station", station, 1961, 1979, 25, false, false, 'Q'},
	{"Pellowick", "PD-9", "door-station", station, 1960, 1981, 35, false, false, 'D'},
	{"Oskelund", "Fjordal 2", "table-radio", tubeRadio, 1954, 1960, 40, true, false, 'F'},
	{"Oskelund", "Fjordal 5", "table-radio", tubeRadio, 1961, 1967, 55, true, false, 'G'},
	{"Yarrowby", "512", "table-radio", tubeRadio, 1949, 1957, 45, false, false, 'Y'},
	{"Yarrowby", "538", "table-radio", tubeRadio, 1958, 1966, 50, true, false, 'Z'},
	{"Vantreith", "V-1140", "receiver", hifi, 1966, 1971, 60, true, true, 'V'},
	{"Vantreith", "V-1180", "receiver", hifi, 1972, 1977, 85, true, true, 'S'},
	{"Vantreith", "V-1210", "receiver", hifi, 1978, 1983, 50, true, true, 'T'},
	{"Vantreith", "T-1106", "tuner", hifi, 1963, 1970, 30, true, true, 'B'},
	{"Vantreith", "T-1150", "tuner", hifi, 1971, 1979, 30, true, true, 'C'},
	{"Durnstone", "14-A", "phono-amplifier", tubeAmplifier, 1955, 1962, 30, false, false, 'H'},
	{"Durnstone", "22", "phono-amplifier", solidAmplifier, 1963, 1971, 28, false, true, 'J'},
	{"Durnstone", "30-S", "phono-amplifier", solidAmplifier, 1972, 1979, 2, false, true, 'M'},
	{"Ulverdine", "690 Stereo", "intercom-master", solidMaster, 1979, 1981, 1, true, true, 'N'},
}

// family is a known weakness: sets of one model and some years in which one
// fault comes so many times more often than the table of faults says. They are
// there for the answers about years made and models to find.
type family struct {
	model    string
	from, to int
	fault    string
	times    int
}

var families = []family{
	{"PK-47", 1968, 1971, "filter leaky", 9},
	{"V-1180", 1974, 1976, "output transistor", 7},
	{"Fjordal 2", 1955, 1957, "selenium", 8},
	{"670", 1972, 1974, "cracked joint", 6},
	{"T-1150", 1977, 1979, "decoder", 6},
}

// totalShare is the sum of all shares.
var totalShare = func() (sum int) {
	for _, m := range models {
		sum += m.share
	}
	return sum
}()

func anyModel(d dice) *model {
	n := d.below(totalShare)
	for i := range models {
		if n -= models[i].share; n < 0 {
			return &models[i]
		}
	}
	panic("unreachable: the shares add up to totalShare")
}

// modelNamed finds a model that this package itself names.
func modelNamed(name string) *model {
	for i := range models {
		if models[i].name == name {
			return &models[i]
		}
	}
	panic("demo: no model " + name)
}
