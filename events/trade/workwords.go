package trade

// workPhrases name kinds of work. Common practice, no source.
var workPhrases = []phraseRow{
	{"cleaned", "clean|cleaned up|contact cleaner|deoxidized|flushed|sprayed"},
	{"lubricated", "lube|grease|regreased|re lubed|oil"},
	{"realigned", "realign|align|alignment|re align|peaked|set tracking|calibrated|recalibrated"},
	{"adjusted", "adjustment|readjusted|set bias|biased|reset bias|balanced|set azimuth|re adjusted"},
	{"resoldered", "resolder|solder|soldered|re soldered|re solder|touched up joints|retouched joints"},
	{"rebuilt", "rebuild|re built|repaired trace|reconditioned|restored"},
	{"recapped", "recap|re capped|re cap|new filters|new capacitors|new electrolytics|replaced all capacitors|replaced all electrolytics|replaced capacitors|replaced all filters"},
	{"rewired", "rewire|re wired|new wiring"},
	{"restrung", "restring|re strung|new dial cord|replaced dial cord|new dial string"},
	{"reconed", "recone|re coned|new surrounds|new foam"},
	{"replaced", "replace|new|installed|swapped|substituted|changed|fitted"},
	{"retubed", "retube|new tubes|all new tubes|re tubed|replaced all tubes"},
	{"re-formed", "reform|re formed"},
	{"demagnetized", "demagnetize"},
	{"made-safe", "new line cord|new cord|new power cord|new polarized plug|three wire cord|3 wire cord|polarized plug|made safe|added fuse|replaced line cord|replaced power cord|replaced cord|installed fuse"},
	{"modified", "modify|added"},
	{"refinished", "refinish|painted|repainted"},
	{"tested", "test|tested good|final test|burned in|burn in|played|ran"},
}

// setPhrases name kinds of set. Common practice, no source.
var setPhrases = []phraseRow{
	{"intercom-master", "intercom master|master|master station|master unit|intercom|radio intercom|intercom radio|music intercom|am fm intercom|intercom system|home music system|wired music system|music system|control center|music master|stereo intercom"},
	{"room-station", "room station|inside station|indoor station|room speaker|remote speaker|remote station|station|remote|intercom station|sub station|substation|slave station|intercom speaker|room remote"},
	{"door-station", "door station|door speaker|front door station|door unit|entrance station|gate station|door intercom"},
	{"outdoor-station", "patio station|outdoor station|outside station|patio speaker|outdoor speaker|pool station|weatherproof station"},
	{"intercom-amplifier", "intercom amplifier|power pack|system amplifier|distribution amplifier"},
	{"table-radio", "table radio|table set|table model|table top radio|tabletop radio|am table radio|fm table radio|table|tombstone|cathedral|mantel radio|mantle radio|kitchen radio|tabletop"},
	{"clock-radio", "clock radio|alarm clock radio"},
	{"portable-radio", "portable radio|portable|transistor radio|pocket radio|shirt pocket radio|boombox|portable set|shortwave portable"},
	{"console", "console|console radio|console stereo|radio phono|radio phonograph|radiogram|stereo console|floor model|lowboy|highboy|combination|music center"},
	{"car-radio", "car radio|auto radio|automobile radio|car stereo"},
	{"communications-receiver", "communications receiver|communication receiver|shortwave receiver|ham receiver|short wave receiver|general coverage receiver|amateur receiver"},
	{"receiver", "receiver|stereo receiver|am fm receiver|hi fi receiver|quad receiver|fm receiver|tuner amplifier"},
	{"tuner", "tuner|fm tuner|am fm tuner|stereo tuner|am tuner|fm stereo tuner"},
	{"amplifier", "amplifier|integrated amplifier|stereo amplifier|power amplifier|hi fi amplifier|mono block|monoblock|tube amplifier|pa amplifier"},
	{"preamplifier", "preamplifier|stereo preamplifier|control preamplifier|phono preamplifier"},
	{"phono-amplifier", "phono amplifier|phono amp|phonograph amplifier|record player amplifier|changer amplifier"},
	{"record-player", "record player|turntable|phonograph|phono|portable phonograph|portable phono|portable record player|gramophone"},
	{"record-changer", "record changer|changer|automatic changer|automatic turntable"},
	{"compact-stereo", "compact stereo|stereo system|hi fi integrated|compact system|all in one stereo"},
	{"tape-recorder", "tape recorder|tape deck|cassette deck|reel to reel|cassette recorder|cassette player|eight track|8 track|cassette|open reel"},
	{"loudspeaker-box", "loudspeakers|speaker box|speaker cabinet|speaker system|pair of speakers|speaker enclosure|bookshelf speaker|floor speaker"},
	{"television", "television|television set|tv|tv set|flat screen"},
	{"test-instrument", "test instrument|tube tester|signal generator|oscilloscope|scope|vtvm|voltmeter|test equipment"},
}

// outcomePhrases name how a visit ended. Common practice, no source.
var outcomePhrases = []phraseRow{
	{"repaired", "repaired|fixed|ok|okay|done|complete|completed|good|working|works|finished|repair complete"},
	{"returned-unrepaired", "unrepaired|returned unrepaired|not repaired|not repairable|unrepairable|could not repair|couldn't repair|no parts|parts not available|returned as is|no repair|beyond repair|end of life|repairable|not fixed|ber|uneconomic|beyond economic repair|repair not possible|returned no repair|return unfixed"},
	{"declined", "declined|estimate declined|estimate refused|customer declined|owner declined|too expensive|declined repair|declined estimate|refused estimate|repair declined"},
	{"kept-for-parts", "kept for parts|parts unit|parts set|for parts|salvage|scrapped|scrap|junked|parts only|abandoned|donated|junk"},
	{"no-fault-found", "no fault found|nff|no trouble found|ntf|no problem found|could not duplicate|no defect found"},
	{"unknown", "unknown|~not known"},
}
