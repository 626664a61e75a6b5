package oddshop

import "oldhand/events"

// people draws customers for the odd bench's intakes to name.
func (f *feed) people() (list []events.KeyEntry) {
	for n := range 8 {
		e := events.KeyEntry{Person: events.PersonID{9, byte(n)}, Key: events.PersonKey{7, byte(n)}}
		list, f.persons = append(list, e), append(f.persons, e.Person)
	}
	return list
}

// customers records them, with names that open by their keys, as far as the way there
// is for sealing takes them, which refuses a zero byte.
func (f *feed) customers(people []events.KeyEntry) (named []events.KeyEntry, err error) {
	row, _ := events.FindKind(events.KindPersonRecorded)
	for n, e := range people {
		var b events.PersonRecorded
		for {
			p := events.Personal{Name: f.text("Maker"), Phone: f.text(""), Email: f.text(""), Address: f.text(""), City: f.text("")}
			if p.Validate() != nil {
				continue
			}
			if b, err = p.Seal(e.Person, e.Key, [24]byte{byte(n)}); err != nil {
				return nil, err
			}
			break
		}
		raw, err := events.EncodeBody(b)
		if err != nil {
			return nil, err
		}
		if _, err := f.write(row, e.Person, raw); err != nil {
			return nil, err
		}
		named = append(named, e)
	}
	return named, nil
}
