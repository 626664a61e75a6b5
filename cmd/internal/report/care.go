package report

// What an owner should know of an old set, in our words. Where no source is
// named it is common practice.

// NoCertificate stands on every record.
const NoCertificate = "This record says what was seen, done and read on the bench. It does not certify that the set is safe."

// fixedWiring is for sets that hang on the wires of a house.
const fixedWiring = "Fixed wiring: disconnect at the panel, follow your local electrical code, and use a licensed electrician if in doubt. The wiring in the building was not looked at."

// wired are the kinds of set that hang on the wires of a house.
var wired = map[string]bool{"intercom-master": true, "room-station": true, "door-station": true, "outdoor-station": true, "intercom-amplifier": true}

// lastWithPCB is the last year in which capacitors with PCBs were made (US EPA fact
// sheet 530-F-20-005).
const lastWithPCB = 1979

// Cautions are the usual ones for a kind of set, by its id in package trade's
// table; year is the earliest in which it can have been made, 0 where that is not
// known.
func Cautions(kind string, year int) []string {
	list := []string{
		"Don't open the set: inside it is mains voltage, and capacitors hold a charge long after the plug is out. Its metal parts may be live.",
		"Pull the plug if it hums loudly, smells, smokes or gets hot, if a fuse blows again, or if the cord is cracked or loose. Never put in a larger fuse.",
		"Keep it away from water, and don't touch it together with other plugged-in or earthed metal.",
	}
	if kind == "television" {
		list = append(list, "A picture tube holds a charge, and can break with force: don't knock or turn the set over.")
	}
	if year <= lastWithPCB { // also where it is not known
		list = append(list, "Parts that are still original may hold PCBs, lead, selenium or mercury. One that leaks is not to be touched with bare hands, and the set does not belong into household waste.")
	}
	if wired[kind] {
		list = append(list, fixedWiring)
	} else {
		list = append(list, "Your local electrical code stands above anything on this paper; have an outlet or its earth put right by a licensed electrician.")
	}
	return list
}

// Care is how to live with the set.
func Care(kind string) []string {
	list := []string{
		"After the journey let it stand unpacked in the room for some hours, so that nothing damp is switched on; then stay with it for its first hour.",
		"Leave air around it and its openings free. Dust with a dry cloth, plug out; no sprays inside.",
		"Switch it on for half an hour every few months: old capacitors and switches age faster at rest.",
	}
	switch kind {
	case "record-player", "record-changer", "compact-stereo":
		list = append(list, "Fasten the arm before it is carried, and keep the stylus clean.")
	case "portable-radio":
		list = append(list, "Take the batteries out when it is put away.")
	}
	return append(list, "Keep this record with the set; whoever mends it next will be glad of it.")
}
