package cmd

import (
	"os"
	"testing"

	"golang.org/x/tools/go/packages"
)

// The shop's other laptops run other systems. Everything the program is made of is
// checked as it is for those, from its source: to compile it all for each takes twenty
// times as long.
func TestTheProgramIsWholeOnOtherLaptops(t *testing.T) {
	if testing.Short() {
		t.Skip("reads some seven hundred packages for each system")
	}
	for _, on := range []struct{ system, processor string }{{"darwin", "arm64"}, {"windows", "amd64"}} {
		t.Run(on.system, func(t *testing.T) {
			t.Parallel()
			list, err := packages.Load(&packages.Config{
				Mode: packages.NeedName | packages.NeedImports | packages.NeedDeps | packages.NeedFiles | packages.NeedCompiledGoFiles | packages.NeedTypes | packages.NeedSyntax,
				Dir:  "..",
				Env:  append(os.Environ(), "CGO_ENABLED=0", "GOOS="+on.system, "GOARCH="+on.processor),
			}, "./cmd/oldhand")
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for p := range packages.Postorder(list) {
				n++
				for _, err := range p.Errors {
					t.Errorf("%s: %v", p.PkgPath, err)
				}
			}
			if n < 200 {
				t.Errorf("%d packages were read, want those the program is made of", n)
			}
		})
	}
}
