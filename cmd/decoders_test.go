package cmd

import (
	"go/ast"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// decoders are what reads bytes or words that come from outside or from a disk, each
// with the fuzz target that reads any there could be. A function with such a name that
// is in no row fails: it gets a target, or a row that says which one reaches it.
var decoders = []struct{ dir, decoder, target string }{
	{"events", "DecodeRecord Link Reread Trusted", "FuzzDecodeRecord"},
	{"events", "DecodeBody decodeAs", "FuzzBody"},
	{"events", "readQuickly", "FuzzReadQuickly"},
	{"events", "ParseWhen ParseDay UnmarshalCBOR", "FuzzParseWhen"},
	{"events", "ParseShopID ParsePersonID UnmarshalText", "FuzzNames"},
	{"events", "Open", "FuzzPersonalPlain"},
	{"events", "Key", "FuzzKey"},
	{"events/tag", "Split", "FuzzSplit"},
	{"events/trade", "Read ReadPart ReadParts ReadWork", "FuzzRead"},
	{"events/measure", "Parse", "FuzzParse"},
	{"events/measure", "ParsePart", "FuzzParsePart"},
	{"events/measure", "ReadDial", "FuzzReadDial"},
	{"events/measure", "ReadLimits", "FuzzReadLimits"},
	{"events/measure", "ReadDateCode ReadDatedParts", "FuzzReadDateCode"},
	{"events/evidence", "TypeOf", "FuzzTypeOf"},
	{"events/evidence", "tracksOf", "FuzzSound"},
	{"events/eventlog", "readFeedValue split readWitness readBase readSigned", "FuzzReadRow"},
	{"events/eventlog", "readRefs", "FuzzReadRefs"},
	{"events/eventlog", "readEventKey", "FuzzStoredRow"},
	{"sync/seal", "Open readContent unpack", "FuzzOpenContent"},
	{"sync/segment", "Open ReadPlace", "FuzzOpen"},
	{"sync/segment", "readBody readRecord", "FuzzOpenPlain"},
	{"sync/chunk", "Open ReadPlace", "FuzzOpen"},
	{"sync/keyring", "Open ReadPlace", "FuzzOpen"},
	{"sync/keyring", "readPlain", "FuzzOpenPlain"},
	{"sync/bundle", "Read ReadWithKeys openFrames splitSum", "FuzzRead"},
	{"sync/bundle", "ReadPhotos", "FuzzReadPhotos"},
	{"sync/bundle", "ReadHeads readHeads readHad", "FuzzHeadsPlain"},
	{"sync/nearby", "readSign", "FuzzReadSign"},
	{"sync/roster", "read", "FuzzStatement"},
	{"sync/roster/invite", "DecodeRequest decodeMessage", "FuzzDecodeRequest"},
	{"sync/roster/invite", "DecodeAnswer", "FuzzDecodeAnswer"},
	{"sync/roster/invite", "Read decode", "FuzzRead"},
	{"sync/roster/invite", "ReadPlace", "FuzzReadPlace"},
	{"sync/exchange", "ParsePin", "FuzzParsePin"},
	{"sync/exchange", "ParseTag", "FuzzParseTag"},
	{"sync/exchange", "readLogin", "FuzzReadLogin"},
	{"sync/cluster", "ReadBenches", "FuzzReadBenches"},
	{"sync/exchange", "feedOf personOf chunkOf pieceOf guestOf", "FuzzReadSubject"},
	{"sync/replicate", "readCursor readSurvey readSpot readHead readAside readFeed", "FuzzReadMark"},
	{"sync/meet", "readKeyCursor readThere", "FuzzReadKeyMark"},
	{"sync/meet", "readKnown readHex", "FuzzReadKnown"},
	{"projections", "readHistory readEntry readVisit readList", "FuzzReadHistory"},
	{"projections", "eachRow readFailures readNorms readTurns readEnds readRarity", "FuzzTallyRow"},
	{"cmd/internal/app", "Money Years ParseAt ParseContent EvidenceFrom YesNo", "FuzzTyped"},
	{"cmd/internal/app", "TestFrom", "FuzzTestFrom"},
	{"cmd/internal/app", "ReadExport linkLine feedOf follows", "FuzzReadExport"},
	{"cmd/internal/relay", "hear", "FuzzServe"},
	{"cmd/internal/relay", "listen", "FuzzAnswer"},
	{"cmd/internal/relay", "ReadCard", "FuzzReadCard"},
	{"cmd/internal/sheettext", "Read", "FuzzRead"},
	{"cmd/internal/tags", "ParseSize", "FuzzParseSize"},
	{"cmd/internal/jobbook", "newSplitter", "FuzzSplitAsTheStandardSays"},
	{"cmd/internal/jobbook", "Open OpenORDS ReadMapping decode decodeUTF16 readSeparator", "FuzzOpen"},
	{"cmd/internal/workbook", "Open Read readFormat readTexts", "FuzzRead"},
	{"cmd/internal/backup", "Unpack ReadCard", "FuzzUnpack"},
}

// reads are how the names of decoders begin. Functions so named that read no bytes
// and no words of others are told in notDecoders.
var reads = []string{"Decode", "Parse", "Unpack", "decode", "parse", "unpack"}

// notDecoders begin as decoders do and are reached through one of the rows, by a name
// of another package, or read only what the program itself holds.
var notDecoders = map[string]string{
	"events decodeInto":             "behind ParseShopID and the others",
	"sync/roster/invite ParseGuest": "an exchange's own name of a key, as FuzzReadLogin reads it",
	"cmd/internal/app unpack":       "opens the file for backup.Unpack",
	"events/measure ParseAnyClass":  "asks ParsePart as each class",
	"projections Decode":            "a body of a history's entry, by events.DecodeBody",
}

func TestEachDecoderHasAFuzzTargetAndEachTargetAKeptCorpus(t *testing.T) {
	funcs, targets := map[string]bool{}, map[string]bool{}
	for _, s := range sources(t) {
		for _, d := range s.file.Decls {
			fn, ok := d.(*ast.FuncDecl)
			switch {
			case !ok:
			case !s.test:
				funcs[s.dir+" "+fn.Name.Name] = true
			case strings.HasPrefix(fn.Name.Name, "Fuzz"):
				targets[s.dir+" "+fn.Name.Name] = true
			}
		}
	}
	told, used := map[string]bool{}, map[string]bool{}
	for _, row := range decoders {
		used[row.dir+" "+row.target] = true
		if !targets[row.dir+" "+row.target] {
			t.Errorf("%s has no fuzz target %s, which is to read what %s reads", row.dir, row.target, row.decoder)
		}
		for name := range strings.FieldsSeq(row.decoder) {
			if told[row.dir+" "+name] = true; !funcs[row.dir+" "+name] {
				t.Errorf("%s has no function %s: take it out of the table", row.dir, name)
			}
		}
	}
	for name := range funcs {
		if _, not := notDecoders[name]; !told[name] && !not && isDecoder(name) {
			t.Errorf("%s reads what others wrote, and is in no row of the table of decoders", name)
		}
	}
	for target := range targets {
		dir, name, _ := strings.Cut(target, " ")
		if !used[target] {
			t.Errorf("%s is in no row of the table of decoders", target)
		}
		kept, err := filepath.Glob(filepath.Join("..", dir, "testdata", "fuzz", name, "*"))
		if err != nil || len(kept) == 0 {
			t.Errorf("%s has no kept corpus in testdata/fuzz (%v)", target, err)
		}
		for _, path := range kept {
			if info, err := os.Stat(path); err != nil || info.Size() == 0 || info.Size() > 16<<10 {
				t.Errorf("%s: %v, or a size that nobody wants to keep", path, err)
			}
		}
	}
	if len(targets) < 40 || len(funcs) < 2000 {
		t.Errorf("only %d targets and %d functions seen: the test looks in the wrong place", len(targets), len(funcs))
	}
}

func isDecoder(function string) bool {
	_, name, _ := strings.Cut(function, " ")
	for _, begin := range reads {
		if strings.HasPrefix(name, begin) {
			return true
		}
	}
	return false
}
