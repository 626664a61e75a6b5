package jobbook

// Field is what a column of an old book holds. Its text is its name in a
// mapping and in a row's key, so it never changes.
type Field string

// The fields, in the order in which a mapping shows them.
const (
	Job        Field = "job"
	Received   Field = "received"
	Shipped    Field = "shipped"
	Customer   Field = "customer"
	Address    Field = "address"
	City       Field = "city"
	Region     Field = "region"
	Postcode   Field = "postcode"
	Country    Field = "country"
	Phone      Field = "phone"
	Email      Field = "email"
	Maker      Field = "maker"
	Model      Field = "model"
	Serial     Field = "serial"
	Year       Field = "year"
	Kind       Field = "kind"
	Complaint  Field = "complaint"
	Found      Field = "found"
	WorkDone   Field = "work"
	PartsUsed  Field = "parts"
	Charged    Field = "charge"
	Notes      Field = "notes"
	Technician Field = "technician"
	Outcome    Field = "outcome"
	Tag        Field = "tag"
)

// heading is a field with the headings that name it. The firm ones are tried
// over all columns first, the loose ones after that and only for a field that
// still has no column: "date" is the date in where nothing else is.
//
// Headings are written as clean leaves them. Common practice, no source: what
// shops write above their columns, in English and in German.
type heading struct {
	field Field
	cell  string // what a refusal calls a cell of it
	firm  []string
	loose []string
}

var headings = []heading{
	{Job, "job number", list("job|job no|job number|jobno|ticket|ticket no|ticket number|work order|work order no|wo|wo no|w o|w o no|order no|order number|repair no|repair number|ro|ro no|docket|docket no|case no|rma|rma no|job id|repair order|claim check|auftrag|auftragsnr|auftragsnummer|auftrag nr|auftrags nr|reparaturnr|reparatur nr"),
		list("no|number|id|nr|lfd nr|invoice|invoice no|invoice number|ref|ref no|reference|order|entry|record")},
	{Received, "date in", list("date in|received|recd|date received|date recd|received date|recd date|in|in date|arrived|date arrived|arrival|arrival date|came in|checked in|check in|check in date|date checked in|intake|intake date|date of intake|booked in|date booked in|logged in|rcvd|date rcvd|received on|dropped off|drop off date|day in|in on|eingang|eingangsdatum|annahme|annahmedatum|angenommen|angenommen am|eingegangen|eingegangen am|datum eingang|datum ein"),
		list("date|opened|date opened|start|start date|started|entry date|datum|job date|ticket date|from|created|date created|day")},
	{Shipped, "date out", list("date out|shipped|ship date|date shipped|shipped date|shipped on|returned|date returned|return date|returned on|out|out date|out on|day out|sent|sent back|sent out|date sent|picked up|date picked up|pickup date|pick up date|delivered|date delivered|delivery date|went out|left|checked out|check out|check out date|ausgang|ausgangsdatum|abgeholt|abgeholt am|abholdatum|versandt|versandt am|versand|versanddatum|ausgeliefert|ausgeliefert am|zurück am|datum ausgang|datum aus|rückgabe|rückgabe am"),
		list("completed|date completed|completion date|finished|date finished|closed|date closed|done|date done|end|end date|to|fertig|fertig am|erledigt|erledigt am|repaired on|date repaired")},
	{Customer, "customer", list("customer|customer name|client|client name|owner|owner name|owners name|cust|cust name|sender|sent in by|sent by|patron|kunde|kundenname|kundin|auftraggeber|besitzer|eigentümer"),
		list("name|full name|contact|last name|surname|who|person")},
	{Address, "address", list("address|street|addr|address 1|address1|street address|mailing address|ship to|ship to address|shipping address|home address|adresse|anschrift|straße|strasse"), nil},
	{City, "city", list("city|town|city state|city st|city state zip|ort|stadt|wohnort"), list("location|place|from where")},
	{Region, "state", list("state|province|state province|region|bundesland"), list("st|prov|county")},
	{Postcode, "postcode", list("zip|zip code|zipcode|postal code|postcode|post code|plz|postleitzahl"), nil},
	{Country, "country", list("country|nation|land"), nil},
	{Phone, "phone", list("phone|tel|telephone|phone no|phone number|tel no|telephone no|telephone number|mobile|cell|cell phone|daytime phone|home phone|telefon|telefonnummer|tel nr|handy"), nil},
	{Email, "email", list("email|e mail|email address|e mail address"), list("mail")},
	{Maker, "maker", list("make|maker|manufacturer|mfr|mfgr|mfg|manuf|manufr|manufacturer name|brand|brand name|made by|hersteller|marke|fabrikat"), list("company|firma|make model")},
	{Model, "model", list("model|model no|model number|mdl|model name|model nr|modell|modellnr|modell nr|typenbezeichnung|typ"), list("mod|chassis|chassis no")},
	{Serial, "serial", list("serial|serial no|serial number|serialno|ser|ser no|ser number|s n|sn|serial nr|seriennummer|serien nr|seriennr|serien nummer|fabriknummer|fabrik nr|fabriknr|gerätenummer|geräte nr|gerätenr"), nil},
	{Year, "year made", list("year made|yr made|year|yr|year built|year of manufacture|year mfd|year mfg|mfg year|mfr year|vintage|built|made|date made|model year|production year|year produced|date of manufacture|manufactured|baujahr|bj|herstellungsjahr"), nil},
	{Kind, "kind of set", list("kind|kind of set|set|unit|unit type|product|product type|product category|category|equipment|equipment type|item|item type|appliance|device|set type|type of set|type of unit|gerät|geräteart|gerätetyp"), list("type|description|article|art|class")},
	{Complaint, "complaint", list("complaint|complaints|trouble|symptom|symptoms|symptom s|problem|problems|customer complaint|reported fault|fault reported|reported problem|problem reported|trouble reported|reported|reason|customer says|owner says|customers complaint|nature of trouble|nature of complaint|issue|complaint symptoms|beanstandung|fehlerbeschreibung|fehlerangabe|reklamation|symptome"),
		list("fault|faults|defect|fehler|mangel|defekt")},
	{Found, "found", list("found|finding|findings|diagnosis|fault found|faults found|what was wrong|trouble found|problem found|defect found|defects found|diag|cause of trouble|cause|what we found|what i found|found to be|befund|diagnose|ursache|fehlerursache"), list("defects|wrong")},
	{WorkDone, "work done", list("work|work done|work performed|repair|repairs|repairs made|repair done|action|action taken|service|service performed|service done|solution|remedy|fix|correction|corrective action|what i did|what was done|what we did|repairs performed|arbeit|arbeiten|reparatur|durchgeführte arbeiten|ausgeführte arbeiten|maßnahme|maßnahmen|reparaturbericht"),
		list("labor performed|done to it|job description|action done")},
	{PartsUsed, "parts", list("parts|parts used|parts replaced|parts installed|part|components|components replaced|components used|materials|materials used|new parts|replaced parts|replaced|teile|ersatzteile|ersatzteil|verwendete teile|bauteile"), list("material")},
	{Charged, "charge", list("charge|charges|charged|total|total charge|price|cost|total cost|amount|amount charged|bill|billed|fee|invoice total|invoice amount|total amount|total due|preis|betrag|kosten|rechnungsbetrag|summe|gesamt|gesamtpreis"), list("paid|sum|labor|repair cost|cash")},
	{Notes, "notes", list("notes|note|remarks|remark|comments|comment|misc|memo|other|bemerkung|bemerkungen|notiz|notizen|anmerkung|anmerkungen|hinweis|hinweise|sonstiges"), nil},
	{Technician, "technician", list("technician|tech|repaired by|serviced by|done by|repairman|serviceman|technician name|tech name|techniker|bearbeiter|mechaniker|repariert von"), list("by|initials|worker|engineer|bench")},
	{Outcome, "outcome", list("outcome|result|results|status|disposition|final status|repair status|job status|ergebnis|zustand"), list("state of repair|ok")},
	{Tag, "tag", list("tag|tag no|tag number|label|sticker|barcode|bar code|bench tag|shelf tag|inventory no|inventory number|etikett"), list("shelf|bin|asset|asset no")},
}

// The places of the fields in headings. A row is filled from them a million
// times, and looking each field up by its name would cost as much as reading it.
const (
	atJob = iota
	atReceived
	atShipped
	atCustomer
	atAddress
	atCity
	atRegion
	atPostcode
	atCountry
	atPhone
	atEmail
	atMaker
	atModel
	atSerial
	atYear
	atKind
	atComplaint
	atFound
	atWorkDone
	atPartsUsed
	atCharged
	atNotes
	atTechnician
	atOutcome
	atTag
	nFields
)

// place gives the place of a field in headings.
var place = func() map[Field]int {
	at := make(map[Field]int, nFields)
	for i, h := range headings {
		at[h.field] = i
	}
	return at
}()

// FieldName is a field with what a person calls a cell of it.
type FieldName struct {
	Field Field
	Words string
}

// Fields are all fields, in the order in which a mapping shows them.
func Fields() (list []FieldName) {
	for _, h := range headings {
		list = append(list, FieldName{h.field, h.cell})
	}
	return list
}

// Setting is a line of a mapping that is no column, with its value and what it
// may be.
type Setting struct{ Key, Value, Hint string }

// Settings are the lines of a mapping that are no columns.
func (m Mapping) Settings() (list []Setting) {
	for _, s := range m.own() {
		list = append(list, Setting{s.key, s.get(&m), s.hint})
	}
	return list
}

// Words are what a mapping says of a column of readings: test point, unit, and
// as found or as left where known. They are empty for a column that has none.
func (r ReadingColumn) Words() string { return r.words() }
