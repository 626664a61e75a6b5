package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The distributions behind the estimates. Shapes are above zero here: the
// callers settle the ends, where a shape would be zero, by hand.

func normalBelow(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

func normalAbove(x float64) float64 { return math.Erfc(x/math.Sqrt2) / 2 }

func chi2Below(x float64, df int) float64 { return mathext.GammaIncReg(float64(df)/2, x/2) }

func chi2Above(x float64, df int) float64 { return mathext.GammaIncRegComp(float64(df)/2, x/2) }

// gammaAt is the point with that much of a gamma distribution below it.
func gammaAt(below, shape float64) float64 { return mathext.GammaIncRegInv(shape, below) }

// gammaTop is the point with that much above it. It is not gammaAt(1-above):
// small tails would lose their digits.
func gammaTop(above, shape float64) float64 { return mathext.GammaIncRegCompInv(shape, above) }

// betaAt is the point with that much of a beta distribution below it.
func betaAt(below, a, b float64) float64 { return mathext.InvRegIncBeta(a, b, below) }

// betaTop is the point with that much above it.
func betaTop(above, a, b float64) float64 { return 1 - betaAt(above, b, a) }
