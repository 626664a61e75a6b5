package cli

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/picture"
	"oldhand/cmd/internal/sums"
	"oldhand/events"
	"oldhand/events/measure"

	"github.com/spf13/cobra"
)

// The sums of the bench: nothing of them touches a shop's folder, so they run
// without one, and in their own process while a page is served.

func (e *env) readCmd() *cobra.Command {
	c := &cobra.Command{Use: "read SUM", Args: cobra.ArbitraryArgs, Short: "sums of the bench: date codes, markings, colours, dials, levels, leakage, discharge",
		Long: "Sums of the bench. They need no shop, save nothing, and give no verdict on a set."}
	c.RunE = func(c *cobra.Command, a []string) error {
		if len(a) > 0 {
			return &usage{fmt.Errorf("read %s: there is no such sum; see: oldhand read --help", a[0])}
		}
		return c.Help()
	}
	ownProcess(c, "it needs no folder")
	for _, sum := range []*cobra.Command{e.readDateCode(), e.readValue(), e.readColours(), e.readDial(), e.readLevel(), e.readTouchCurrent(), e.readDischarge()} {
		c.AddCommand(ownProcess(sum, "it needs no folder"))
	}
	return c
}

// sum tells an answer. What could not be read is an error, after the rest was told.
func (e *env) sum(a sums.Answer, err error) error {
	if err != nil {
		return err
	}
	told := a.Told()
	err = e.answer(a, func() { e.tellSum(told) })
	if err == nil && len(told.Unread) > 0 {
		err = fmt.Errorf("not everything could be read: %s", strings.Join(told.Unread, "; "))
	}
	return err
}

func (e *env) tellSum(t sums.Told) {
	for _, table := range t.Tables {
		for _, line := range columns(append([][]string{table.Head}, table.Rows...)) {
			e.printf("%s\n", line)
		}
	}
	for _, w := range t.Words {
		e.printf("%s\n", w)
	}
	if caution := app.CautionOfSum(t); caution != "" {
		fmt.Fprintln(e.out, caution)
	}
}

func (e *env) readDateCode() *cobra.Command {
	var in sums.DateCodesTyped
	var replaced []string
	var window, made string
	c := &cobra.Command{Use: "date-code CODE...", Short: "read source-and-date codes, and what they say of when a set was built", Args: args(1, -1, "CODE..."),
		Long: "Read source-and-date codes in every way they can be read. Of several, the newest original part\nsays before when the set was not built, and proposes a year made.\n\n  oldhand read date-code T1=134-6320 LS1=134-6405 --replaced C4=134-7812"}
	c.RunE = func(_ *cobra.Command, a []string) (err error) {
		in.Parts = measure.ReadDatedParts(strings.Join(a, ";"))
		for _, r := range replaced {
			in.Parts = append(in.Parts, measure.ReadDatedParts(r+" replaced")...)
		}
		if in.Window.First, in.Window.Last, err = app.Years(window); err != nil {
			return err
		}
		if in.StatedFrom, in.StatedTo, err = app.Years(made); err != nil {
			return err
		}
		return e.sum(sums.ReadDateCodes(in))
	}
	f := c.Flags()
	f.StringArrayVar(&replaced, "replaced", nil, "a `code` on a part that is not original; may be given again")
	f.StringVar(&window, "years", "", "the `years` in which parts can have been made, such as 1955-1975; 1945-1989 if it is not said")
	f.StringVar(&made, "made", "", "the `year` made that is stated; it stands over what the codes propose")
	return c
}

func (e *env) readValue() *cobra.Command {
	var in sums.ValuesTyped
	c := &cobra.Command{Use: "value MARKING...", Short: "read what is printed on parts", Args: args(1, -1, "MARKING..."),
		Long: "Read what is printed on parts, and the preferred value that is nearest to each.\nWhat means two things is asked, not guessed.\n\n  oldhand read value \"50-30-30 MFD 450V\" 4K7J \"47 MMF\" \"500 ohm\""}
	c.RunE = func(_ *cobra.Command, a []string) error {
		in.Markings = a
		return e.sum(sums.ReadValues(in))
	}
	c.Flags().StringVar(&in.Class, "class", "", "the `letters` of the part, such as C or R, where the marking does not tell")
	c.Flags().StringVar(&in.Series, "series", "", "E6, E12, E24, E48 or E96; the one of the tolerance if it is not said")
	return c
}

func (e *env) readColours() *cobra.Command {
	var series string
	c := &cobra.Command{Use: "colours BAND...", Aliases: []string{"colors"}, Short: "read the colour bands of resistors", Args: args(1, -1, "BAND..."),
		Long: "Read the colour bands of a resistor, from the end they crowd to; or of several, each in quotes.\n\n  oldhand read colours yellow violet red gold\n  oldhand read colours \"yellow violet red gold\" \"brown black green\""}
	c.RunE = func(_ *cobra.Command, a []string) error {
		parts := []string{strings.Join(a, " ")}
		if strings.ContainsRune(a[0], ' ') {
			parts = a
		}
		return e.sum(sums.ReadColours(parts, series))
	}
	c.Flags().StringVar(&series, "series", "", "E6, E12, E24, E48 or E96; the one of the tolerance if it is not said")
	return c
}

func (e *env) readDial() *cobra.Command {
	var in sums.DialTyped
	var svg string
	c := &cobra.Command{Use: "dial READING...", Short: "hold a dial's readings against their stations", Args: args(1, -1, "READING..."),
		Long: "Hold a dial's readings against their stations: READING, or READING=STATION where the station is\nknown; without it the nearest channel is taken, which is a guess. Several readings over the\ndial tell an offset from tracking.\n\n  oldhand read dial \"AM 663\" \"AM 1404=1400\" --region americas --year 1962\n  oldhand read dial 94.62=94.7 104.27=104.3 --svg dial.svg"}
	c.RunE = func(_ *cobra.Command, a []string) error {
		in.Readings = a
		d, err := sums.ReadDial(in)
		told := e.sum(d, err)
		if err != nil || svg == "" {
			return told
		}
		return errors.Join(told, e.toFile(svg, func(w io.Writer) (string, error) {
			b, err := picture.DialSVG(d.Drawn())
			if err == nil {
				_, err = w.Write(b)
			}
			return "the picture is", err
		}))
	}
	f := c.Flags()
	f.StringVar(&in.Region, "region", "", "where the set was made for: americas (if it is not said), europe, africa, asia or oceania")
	f.IntVar(&in.Year, "year", 0, "the `year` made: before 1990 the American AM dial ends at 1600 kHz")
	f.IntVar(&in.Readable, "readable", 0, "how closely the dial is read, in `kHz`; 2 on AM and 50 on FM if it is not said")
	f.StringVar(&svg, "svg", "", "also draw the readings and their errors to a `file`")
	return c
}

func (e *env) readLevel() *cobra.Command {
	var in sums.LevelsTyped
	u := measure.UsualLevels
	c := &cobra.Command{Use: "level READING...", Short: "hold levels against each other: AM and FM, left and right, wanted and leak", Args: args(2, -1, "READING READING..."),
		Long: "Hold levels against each other. What each is stands before an equals sign, AM, FM, L, R, wanted or\nleak, and several of one name are averaged in power. Without a name the first is what the others\nare held against; levels in dB are added and averaged in power.\n\n  oldhand read level AM=\"95 mV\" FM=\"47 mV\"\n  oldhand read level L=0.775V R=0.690V\n  oldhand read level \"60 dB\" \"66 dB\" \"72 dB\""}
	c.RunE = func(_ *cobra.Command, a []string) error {
		in.Readings = a
		return e.sum(sums.ReadLevels(in))
	}
	f := c.Flags()
	f.Float64Var(&in.Rules.FMBelow, "fm-below", u.FMBelow, "so many `dB` below AM points to drifted alignment")
	f.Float64Var(&in.Rules.BalanceGood, "balance-good", u.BalanceGood, "channels that differ by so many `dB` are taken for equal")
	f.Float64Var(&in.Rules.BalanceFault, "balance-fault", u.BalanceFault, "more `dB` than these are taken for a fault")
	return c
}

func (e *env) readTouchCurrent() *cobra.Command {
	var in sums.LeakageTyped
	amplitude := amplitudeFlags{}
	c := &cobra.Command{Use: "touch-current [READING]...", Short: "read a voltage over a measuring network as a current; it declares no set safe", Args: args(0, -1, "[READING]..."),
		Long: "Read the voltage over a measuring network as a touch current; or say what a capacitor from line to\nchassis lets through.\n\n  oldhand read touch-current \"0.35 V\" --network iec60990 --peak --limit \"0.7 mA peak\"\n  oldhand read touch-current --line \"120 V\" --capacitor \"0.01 MFD\"\n\n" + app.MeterCaution}
	c.RunE = func(_ *cobra.Command, a []string) (err error) {
		in.Readings = a
		if in.Amplitude, err = amplitude.said(); err != nil {
			return err
		}
		return e.sum(sums.ReadLeakage(in))
	}
	f := c.Flags()
	f.StringVar(&in.Network, "network", "", "hot-check (if it is not said) or iec60990")
	f.IntVar(&in.Hz, "hz", 0, "the frequency of the line, 60 if it is not said")
	f.StringVar(&in.Limit, "limit", "", "the limit to hold it against, such as \"0.75 V\" or \"0.7 mA peak\"")
	f.StringVar(&in.Line, "line", "", "the line's `voltage`, with --capacitor")
	f.StringVar(&in.Capacitor, "capacitor", "", "the capacitor from line to chassis, with --line")
	amplitude.add(c)
	return c
}

// amplitudeFlags say whether a reading is rms or peak.
type amplitudeFlags struct{ rms, peak bool }

func (a *amplitudeFlags) add(c *cobra.Command) {
	c.Flags().BoolVar(&a.rms, "rms", false, "the meter showed rms")
	c.Flags().BoolVar(&a.peak, "peak", false, "the meter showed peak")
}

func (a *amplitudeFlags) said() (string, error) {
	switch {
	case a.rms && a.peak:
		return "", &usage{errors.New("a reading is rms or peak, not both")}
	case a.rms:
		return events.RMS, nil
	case a.peak:
		return events.Peak, nil
	}
	return "", nil
}

func (e *env) readDischarge() *cobra.Command {
	var in sums.DischargeTyped
	c := &cobra.Command{Use: "discharge CAPACITOR RESISTOR VOLTS", Short: "how long a capacitor holds its charge; measure, then trust the meter", Args: args(3, 3, "CAPACITOR RESISTOR VOLTS"),
		Long: "How long a capacitor takes to fall to 50 V and to 30 V through a resistor. The sections of a can are\ntaken together.\n\n  oldhand read discharge \"40 MFD\" 220K \"350 V\"\n\n" + app.OpeningCaution}
	c.RunE = func(_ *cobra.Command, a []string) error {
		in.Capacitor, in.Resistor, in.Start = a[0], a[1], withUnit(a[2], "V")
		in.To = withUnit(in.To, "V")
		return e.sum(sums.ReadDischarge(in))
	}
	c.Flags().StringVar(&in.To, "to", "", "another `voltage` to say the time for")
	return c
}

// withUnit gives a number alone its unit.
func withUnit(text, unit string) string {
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		return text + " " + unit
	}
	return text
}
