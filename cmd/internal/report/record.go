package report

import "time"

// Record is the service record of one visit of a unit. Days are ISO 8601 dates, or
// "unknown".
type Record struct {
	Shop     string    `json:"shop"`
	Unit     Unit      `json:"unit"`
	Visit    int       `json:"visit"`    // from 1
	Of       int       `json:"visits"`   // the unit's
	Recorded time.Time `json:"recorded"` // when the last of what stands here was written down

	Customer string   `json:"customer,omitempty"`
	Contact  []string `json:"contact,omitempty"` // only where it was asked for

	Received string `json:"received"`
	Shipped  string `json:"shipped,omitempty"` // empty while it is here
	Days     *int   `json:"days,omitempty"`    // from the one to the other
	Carrier  string `json:"carrier,omitempty"` // that took it back
	Outcome  string `json:"outcome"`           // in words; "open" while it is here

	Complaint   string `json:"complaint"`
	Condition   string `json:"condition,omitempty"`
	Accessories string `json:"accessories,omitempty"`

	Found    []Entry   `json:"found"`
	Parts    []Part    `json:"parts"`
	Work     []Entry   `json:"work"`
	Readings []Reading `json:"readings"`
	Waits    []string  `json:"waits,omitempty"`

	Test    *Test    `json:"final_test,omitempty"` // the last
	Earlier []Test   `json:"earlier_tests,omitempty"`
	NotDone []string `json:"not_done"` // what was left out, and what was not done

	Estimates    []Entry `json:"estimates,omitempty"`
	Charge       string  `json:"charge,omitempty"`
	WarrantyDays int     `json:"warranty_days,omitempty"`
	WarrantyTill string  `json:"warranty_until,omitempty"`
	Parting      string  `json:"parting_words,omitempty"` // written when it was shipped

	Notes     []Entry `json:"notes,omitempty"`      // only where they were asked for
	NotesLeft int     `json:"notes_left,omitempty"` // that the shop keeps to itself

	Kept      string     `json:"kept,omitempty"` // photos and the like, in words
	Corrected int        `json:"corrected,omitempty"`
	TakenBack int        `json:"taken_back,omitempty"`
	Unread    int        `json:"made_by_a_newer_version,omitempty"`
	Conflicts []Conflict `json:"conflicts,omitempty"`

	Care     []string `json:"care"`
	Cautions []string `json:"cautions"`
}

// Unit is what the record is about.
type Unit struct {
	ID     string `json:"id"`
	Tag    string `json:"tag,omitempty"`
	Maker  string `json:"maker,omitempty"`
	Model  string `json:"model,omitempty"`
	Serial string `json:"serial,omitempty"`
	Kind   string `json:"kind_of_set,omitempty"` // in words
	Made   string `json:"made,omitempty"`        // a year or a range; empty where it is not known
	MadeBy string `json:"made_known_by,omitempty"`
}

// Entry is one thing that was found, done, named or noted.
type Entry struct {
	Event     string `json:"event"`
	At        string `json:"at"`
	Line      string `json:"line"`
	Corrected bool   `json:"corrected,omitempty"` // another version stood there before
}

// Part is a part that was replaced.
type Part struct {
	Event     string `json:"event"`
	Part      string `json:"part"` // which, by its place or its kind
	Out       string `json:"out,omitempty"`
	OutRead   string `json:"out_read,omitempty"` // value and rating, as read from the marking
	In        string `json:"in,omitempty"`
	InRead    string `json:"in_read,omitempty"`
	Reason    string `json:"reason,omitempty"`
	Text      string `json:"text,omitempty"`
	Corrected bool   `json:"corrected,omitempty"`
}

// Reading is what was read at one point, before and after.
type Reading struct {
	Point   string `json:"point"`
	AsFound string `json:"as_found,omitempty"`
	AsLeft  string `json:"as_left,omitempty"`
	Read    string `json:"read,omitempty"` // where it was not said whether before or after
	Limits  string `json:"limits,omitempty"`
	Safety  bool   `json:"safety,omitempty"` // it is about what a set lets through

	Gauge Gauge `json:"-"`
}

// Test is a final test.
type Test struct {
	Event     string `json:"event"`
	At        string `json:"at"`
	Verdict   string `json:"verdict"`
	LeftOut   string `json:"left_out,omitempty"`
	Text      string `json:"text,omitempty"`
	Corrected bool   `json:"corrected,omitempty"`

	Sheet   string   `json:"sheet,omitempty"`   // the test sheet it went by; none for a verdict alone
	Checks  int      `json:"checks,omitempty"`  // of the sheet
	Made    int      `json:"made,omitempty"`    // of the checks
	Within  int      `json:"within,omitempty"`  // of those made, read with nothing against them
	Unmade  []string `json:"unmade,omitempty"`  // checks that were not made, with why
	Despite []string `json:"despite,omitempty"` // checks that are off and taken as they are, with why
}

// Conflict is a fact of which two benches said different things, with nobody
// having settled it: the version that is shown, and the others.
type Conflict struct {
	Shown  string   `json:"shown"`
	Others []string `json:"others"`
}

// Entries is how many entries of the visit stand on a record that leaves nothing
// out.
func (r *Record) Entries() int {
	n := len(r.Found) + len(r.Parts) + len(r.Work) + len(r.Readings) + len(r.Estimates) + len(r.Notes) + len(r.Earlier) + len(r.Conflicts)
	if r.Test != nil {
		n++
	}
	return n
}

// Open reports whether the unit is still here.
func (r *Record) Open() bool { return r.Shipped == "" }
