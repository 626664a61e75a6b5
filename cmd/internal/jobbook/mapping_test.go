package jobbook

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// Headings of old books and what they mean. Common practice, no source.
func TestHeadingsAreKnownByWhatShopsWrite(t *testing.T) {
	for heading, want := range map[string]Field{
		"Job": Job, "#": Job, "Job #": Job, "Job No.": Job, "TICKET": Job, "W.O.": Job, "Work order": Job, "Invoice #": Job,
		"Date in": Received, "Received": Received, "Rec'd": Received, "DATE REC'D": Received, "In": Received, "Date": Received, "Intake date": Received, "Eingang": Received,
		"Date out": Shipped, "Shipped": Shipped, "Returned": Shipped, "Out": Shipped, "Picked-up": Shipped, "Completed": Shipped, "Ausgang": Shipped,
		"Customer": Customer, "Owner's name": Customer, "Name": Customer, "Kunde": Customer, "Address": Address, "Town": City, "ZIP": Postcode, "PLZ": Postcode, "State": Region,
		"Phone #": Phone, "Tel.": Phone, "E-mail": Email, "Make": Maker, "Manufacturer": Maker, "Mfr.": Maker, "Brand": Maker, "Hersteller": Maker,
		"Model": Model, "Model No": Model, "Modell": Model, "Ser#": Serial, "Serial no.": Serial, "S/N": Serial, "SN": Serial, "Serien-Nr.": Serial,
		"Yr": Year, "Year made": Year, "Baujahr": Year, "Type": Kind, "Unit": Kind, "Product category": Kind, "Gerät": Kind,
		"Complaint": Complaint, "Trouble": Complaint, "Symptom(s)": Complaint, "Symptoms": Complaint, "Problem": Complaint, "Fault": Complaint, "Reported fault": Complaint,
		"Found": Found, "Diagnosis": Found, "What was wrong": Found, "Befund": Found, "Work done": WorkDone, "Repair": WorkDone, "Arbeiten": WorkDone,
		"Parts used": PartsUsed, "Parts": PartsUsed, "Teile": PartsUsed, "Charge": Charged, "Total ($)": Charged, "Amount": Charged, "Preis (€)": Charged,
		"Notes": Notes, "Remarks": Notes, "Tech": Technician, "Status": Outcome, "Tag #": Tag, "Hat size": "", "": "",
	} {
		i := firmField(heading)
		if i < 0 {
			i = looseField(heading)
		}
		got := Field("")
		if i >= 0 {
			got = headings[i].field
		}
		if got != want {
			t.Errorf("%q: %q, want %q", heading, got, want)
		}
	}
}

func TestAHeadingThatEndsInAUnitIsAReading(t *testing.T) {
	for _, c := range []struct{ heading, point, unit, stage string }{
		{"AM mV", "AM", "mV", ""}, {"B+ V", "B+", "V", ""}, {"B+ (VDC)", "B+", "VDC", ""}, {"Hum [mV]", "Hum", "mV", ""}, {"Leakage (A)", "Leakage", "A", ""},
		{"FM mV before", "FM", "mV", AsFound}, {"FM (mV, after)", "", "", ""}, {"FM (mV) after", "FM", "mV", AsLeft}, {"FM mV as found", "FM", "mV", AsFound},
		{"IF 455 kc", "IF 455", "kc", ""}, {"Line A", "", "", ""}, {"mV", "", "", ""}, {"Hum", "", "", ""}, {"(mV)", "", "", ""}, {"Output W", "Output", "W", ""}, {"THD %", "THD", "%", ""},
	} {
		r, ok := readingOf(c.heading)
		if ok != (c.point != "") || ok && (r != ReadingColumn{c.heading, c.point, c.unit, c.stage}) {
			t.Errorf("%q: %+v %v", c.heading, r, ok)
		}
	}
}

// A row is filled by these places: one off, and the city is taken as the phone.
func TestEachFieldStandsAtItsPlace(t *testing.T) {
	for f, at := range map[Field]int{Job: atJob, Received: atReceived, Shipped: atShipped, Customer: atCustomer, Address: atAddress, City: atCity, Region: atRegion,
		Postcode: atPostcode, Country: atCountry, Phone: atPhone, Email: atEmail, Maker: atMaker, Model: atModel, Serial: atSerial, Year: atYear, Kind: atKind,
		Complaint: atComplaint, Found: atFound, WorkDone: atWorkDone, PartsUsed: atPartsUsed, Charged: atCharged, Notes: atNotes, Technician: atTechnician,
		Outcome: atOutcome, Tag: atTag} {
		if headings[at].field != f {
			t.Errorf("%s stands where %s should", headings[at].field, f)
		}
	}
	if len(headings) != nFields || len(place) != nFields {
		t.Errorf("%d rows of headings, %d fields", len(headings), nFields)
	}
	text := "job,received,shipped,customer,address,city,state,zip,country,phone,email,make,model,serial,year,kind,complaint,found,work,parts,charge,notes,tech,status,tag\n" +
		"j,1997-01-02,1997-01-03,cu,ad,ci,re,pc,co,ph,em,mk,md,sn,1967,receiver,cp,fo,cleaned,pa,$1,no,te,declined,ta\n"
	rows, _ := readAll(mustOpen(t, text, Mapping{}))
	r := rows[0]
	got := strings.Join([]string{r.Job, r.Received.String(), r.Shipped.String(), r.Customer, r.Address, r.City, r.Region, r.Postcode, r.Country, r.Phone, r.Email, r.Maker, r.Model,
		r.Serial, r.YearText, r.Kind, r.Complaint, r.FoundText, r.Work, r.PartsText, r.Charge.Text, r.Notes, r.Technician, r.Outcome, r.Tag}, ",")
	if want := strings.TrimSpace(text[strings.Index(text, "\n")+1:]); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if r.KindID != "receiver" || r.OutcomeID != "declined" || len(r.Done) != 1 || r.Done[0].Kind != "cleaned" {
		t.Errorf("%+v", r)
	}
}

func TestFirmHeadingsComeBeforeLooseOnesAndEachFieldHasOneColumn(t *testing.T) {
	b := mustOpen(t, "Date,Received,Name,Make,Brand,Type,Notes,Notes,,Hum mV\n1997-01-01,1997-01-02,Nora,Ostrel,x,radio,a,b,c,3\n", Mapping{})
	m := b.Mapping.Columns
	if m[Received] != "Received" || m[Customer] != "Name" || m[Maker] != "Make" || m[Kind] != "Type" || m[Notes] != "Notes" {
		t.Errorf("%s", b.Mapping)
	}
	if d := cmp.Diff([]string{"Date", "Brand", "Notes (2)", "column 9"}, b.Unused); d != "" {
		t.Error(d)
	}
	if !strings.Contains(b.Mapping.String(), "# not used:\n#   \"Date\"\n#   \"Brand\"\n#   \"Notes (2)\"\n#   \"column 9\"\n") {
		t.Errorf("the mapping does not show what is not used:\n%s", b.Mapping)
	}
	b = mustOpen(t, "Date,Received,Make,Notes,Notes\n1997-01-01,1997-01-02,Ostrel,a,b\n", Mapping{Columns: map[Field]string{Received: "date", Notes: "notes (2)"}})
	rows, _ := readAll(b)
	if rows[0].Received != (Day{1997, 1, 1}) || rows[0].Notes != "b" {
		t.Errorf("%+v", rows)
	}
}

func TestAMappingIsReadBackAsItWasWritten(t *testing.T) {
	all := Mapping{
		Encoding: Windows1252, Separator: '\t', HeadingRow: 3, Dates: DayFirst, DayNumbers: "yes", Decimal: ",", Currency: "DEM",
		Columns:  map[Field]string{Job: `odd "heading" \ # =`, Received: "Date in", Notes: ""},
		Readings: []ReadingColumn{{"B+ V", "B+", "V", ""}, {`a = "b" mV`, "a, b", "mV", AsLeft}, {"Shelf V", "", "", ""}},
	}
	for _, m := range []Mapping{all, {HeadingRow: 1, Separator: '|'}, {HeadingRow: 2, Separator: ';', Dates: MonthFirst}} {
		got, err := ReadMapping(strings.NewReader(m.String()))
		if err != nil {
			t.Errorf("%v\n%s", err, m)
			continue
		}
		for _, h := range headings { // all fields are written, those without a column as empty
			if want := m.Columns[h.field]; got.Columns[h.field] != want {
				t.Errorf("%s: %q, want %q", h.field, got.Columns[h.field], want)
			}
		}
		if d := cmp.Diff(m, got, cmpopts.IgnoreUnexported(Mapping{}), cmpopts.IgnoreFields(Mapping{}, "Columns")); d != "" {
			t.Error(d)
		}
	}
	b, _ := oldJobBook(t)
	again, err := ReadMapping(strings.NewReader(b.Mapping.String()))
	if err != nil {
		t.Fatal(err)
	}
	if again.String() != b.Mapping.String() {
		t.Errorf("%s\nbecame\n%s", b.Mapping, again)
	}
}

func TestAMappingWithASlipIsRefusedByLine(t *testing.T) {
	for text, want := range map[string]string{
		"serail = \"Ser#\"":                         `mapping line 1: unknown key "serail"`,
		"# fine\n\njob = \"A\"\njob = \"B\"":        `mapping line 4: key "job" stands in line 3 already`,
		"job":                                       `mapping line 1: "job" is not key = "value"`,
		"job = A":                                   `mapping line 1: value of "job": "A" does not stand in double quotes`,
		"job = \"A\" B":                             `mapping line 1: "B" stands behind the value of "job"`,
		"dates = \"american\"":                      `mapping line 1: dates: "american" is not one of: month first, day first`,
		"encoding = \"latin\"":                      `mapping line 1: encoding: "latin" is not one of`,
		"separator = \"x\"":                         `mapping line 1: separator: separator "x" is not known`,
		"heading row = \"0\"":                       `mapping line 1: heading row: "0" is not a row from 1 to 20`,
		"decimal = \"x\"":                           `mapping line 1: decimal`,
		"currency = \"usd\"":                        `mapping line 1: currency: "usd" is not a currency code`,
		"day numbers = \"perhaps\"":                 `mapping line 1: day numbers`,
		"reading = \"AM, mV\"":                      `mapping line 1: a reading needs the heading`,
		"reading \"AM mV\" = \"AM\"":                `mapping line 1: reading "AM mV": "AM" is not a test point`,
		"reading \"AM mV\" = \", mV\"":              `mapping line 1: reading "AM mV": ", mV" has no test point`,
		"reading \"A V\" = \"\"\nreading \"a v\" =": `mapping line 2`,
		"job \"x\" = \"A\"":                         `mapping line 1: "job \"x\" = \"A\"" is not key = "value"`,
	} {
		_, err := ReadMapping(strings.NewReader(text))
		if err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func TestAMappingThatDoesNotFitTheBookIsRefused(t *testing.T) {
	for _, c := range []struct {
		m    Mapping
		want string
	}{
		{Mapping{Columns: map[Field]string{Maker: "Firm"}}, `maker is to be in column "Firm", which the book does not have`},
		{Mapping{Columns: map[Field]string{Maker: "Make", Kind: "make"}}, "is given to two fields"},
		{Mapping{Columns: map[Field]string{"colour": "Make"}}, `unknown field "colour"`},
		{Mapping{Columns: map[Field]string{Received: ""}}, "no column is known as the date in"},
		{Mapping{Readings: []ReadingColumn{{"Hum V", "Hum", "V", ""}}}, `a reading is to be in column "Hum V"`},
		{Mapping{Columns: map[Field]string{Maker: "Make"}, Readings: []ReadingColumn{{"Make", "Hum", "V", ""}}}, "is given to a field and to a reading"},
		{Mapping{HeadingRow: 9}, "no column is known as the date in"},
		{Mapping{Encoding: "latin"}, `encoding "latin" is not known`},
	} {
		_, err := Open([]byte(plainBook), Options{AsOf: asOf, Mapping: c.m})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %s", c.m, err, c.want)
		}
	}
}

// What a person edits has to decide: a reading that is none, a field with no
// column, a column that no synonym knows.
func TestWhatTheMappingSaysIsTakenInsteadOfAGuess(t *testing.T) {
	data := "Date in,Make,Shelf V,Hum mV,Spitzname,Notes\n1997-01-02,Ostrel,B7,3,Old Bess,rush\n"
	m, err := ReadMapping(strings.NewReader("reading \"Shelf V\" = \"\"\nreading \"Hum mV\" = \"mains hum, mV, as left\"\ntag = \"Spitzname\"\nnotes = \"\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	b := mustOpen(t, data, m)
	rows, _ := readAll(b)
	if rows[0].Tag != "Old Bess" || rows[0].Notes != "" {
		t.Errorf("%+v", rows[0])
	}
	if d := cmp.Diff([]Reading{{"mains hum", "Hum mV", "3", "mV", AsLeft}}, rows[0].Readings); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"Shelf V", "Notes"}, b.Unused); d != "" {
		t.Error(d)
	}
}

func TestATableThatIsNotUnderstoodGivesAMappingToEdit(t *testing.T) {
	_, err := Open([]byte("wann,was\n1997-01-02,Ostrel\n"), Options{AsOf: asOf})
	var un *UnmappedError
	if !errors.As(err, &un) {
		t.Fatalf("%v", err)
	}
	m, err := ReadMapping(strings.NewReader(strings.NewReplacer(`received = ""`, `received = "wann"`, `maker = ""`, `maker = "was"`).Replace(un.Mapping.String())))
	if err != nil {
		t.Fatal(err)
	}
	rows, _ := readAll(mustOpen(t, "wann,was\n1997-01-02,Ostrel\n", m))
	if len(rows) != 1 || rows[0].Maker != "Ostrel" {
		t.Errorf("%+v", rows)
	}
}
