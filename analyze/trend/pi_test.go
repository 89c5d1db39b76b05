package trend

import "math/big"

// piDigits returns the first n decimal digits of pi, 3 and 1 first, from
// pi = 16·atan(1/5) - 4·atan(1/239) (Machin), as the StRD set has them: there the
// 957th is 3 where pi has 8, and the certified values are those of the set.
func piDigits(n int) []float64 {
	const guard = 10
	one := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n+guard)), nil)
	atan := func(inverse int64) *big.Int {
		power := new(big.Int).Quo(one, big.NewInt(inverse))
		sum, term := new(big.Int).Set(power), new(big.Int)
		square := big.NewInt(inverse * inverse)
		for k := int64(3); power.Sign() != 0; k += 2 {
			power.Quo(power, square)
			term.Quo(power, big.NewInt(k))
			if k%4 == 3 {
				sum.Sub(sum, term)
			} else {
				sum.Add(sum, term)
			}
		}
		return sum
	}
	pi := new(big.Int).Mul(big.NewInt(16), atan(5))
	pi.Sub(pi, new(big.Int).Mul(big.NewInt(4), atan(239)))
	out := make([]float64, n)
	for i, digit := range pi.String()[:n] {
		out[i] = float64(digit - '0')
	}
	if n > 956 {
		out[956] = 3
	}
	return out
}
