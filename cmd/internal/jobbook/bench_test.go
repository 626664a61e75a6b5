package jobbook

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"
)

// syntheticBook makes a book of n rows as an old shop would have typed it, all
// of it invented. The spellings and their shares follow no source.
func syntheticBook(n int) []byte {
	rnd := rand.New(rand.NewPCG(7, 11))
	pick := func(s ...string) string { return s[rnd.IntN(len(s))] }
	var b bytes.Buffer
	b.WriteString("Job,Date in,Date out,Customer,City,Make,Model,Ser#,Yr,Complaint,Found,Parts used,AM mV,FM mV,Charge,Notes\n")
	for i := range n {
		y, m, d := 1970+rnd.IntN(50), 1+rnd.IntN(12), 1+rnd.IntN(28)
		in := [...]string{fmt.Sprintf("%d/%d/%02d", m, d, y%100), fmt.Sprintf("%04d-%02d-%02d", y, m, d), fmt.Sprintf("%02d/%02d/%04d", m, d, y)}[rnd.IntN(3)]
		fmt.Fprintf(&b, "%d,%s,%04d-%02d-28,%s %s,%s,%s,%s-%d,%c%02d-%05d,%s,%s,%s; %s,%s,%d,%d,$%d.00,%s\n",
			i, in, y, m, pick("Nora", "Bram", "Etta", "Joss"), pick("Dunmore", "Gorse", "Kestle", "Abelard"), pick("Holmby", "Port Averil", "East Quarry"),
			pick("Ostrel", "Corvane", "Varnholt", "Tessaly"), pick("R", "MS", "VT"), rnd.IntN(90), 'A'+rune(rnd.IntN(8)), rnd.IntN(99), rnd.IntN(99999),
			pick("1967", "'71", ""), pick("hum", "no sound", "FM weak"), pick("C14 open", "selector sw dirty", "spkr open", "bad filters"),
			pick("ratio det. out of align", "Q8 shorted", "dial lamp out", "cold solder joint"), pick("", "C14 47 MMF", "\"DS1 dial lamp, R40 potentiometer\""),
			rnd.IntN(150), rnd.IntN(150), rnd.IntN(400), pick("", "", "rush"))
	}
	return b.Bytes()
}

func BenchmarkReadABook(b *testing.B) {
	const n = 100_000
	data := syntheticBook(n)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		book, err := Open(data, Options{AsOf: asOf})
		if err != nil {
			b.Fatal(err)
		}
		rows := 0
		for _, refused := range book.Rows() {
			if refused != nil {
				b.Fatal(refused)
			}
			rows++
		}
		if rows != n {
			b.Fatalf("%d rows", rows)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

var bookRows = flag.Int("book-rows", 60_000, "rows of the book whose reading is watched for memory")

// Rows must not be held: of a long book no more may stay than the keys of the
// rows seen. A key and a number take 20 bytes, and a map up to three times that
// while it grows; a row held would be over a thousand.
func TestALongBookIsReadInLittleMemory(t *testing.T) {
	n := *bookRows
	data := syntheticBook(n)
	var before, during runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	b, err := Open(data, Options{AsOf: asOf})
	if err != nil {
		t.Fatal(err)
	}
	rows, most := 0, uint64(0)
	for _, refused := range b.Rows() {
		if refused != nil {
			t.Fatal(refused)
		}
		if rows++; rows%(n/4) == 0 {
			runtime.GC()
			runtime.ReadMemStats(&during)
			most = max(most, during.HeapAlloc)
		}
	}
	if rows != n {
		t.Errorf("%d rows", rows)
	}
	if held := (int64(most) - int64(before.HeapAlloc)) / int64(n); held > 80 {
		t.Errorf("%d bytes a row were held besides the file", held)
	}
	runtime.KeepAlive(data)
}
