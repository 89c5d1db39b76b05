// Package fixedseed has a package's drawn tests draw the same cases in every run, so that
// a change is never refused for a case that another change brought in. It is imported for
// that alone. RAPID_SEED in the environment or -rapid.seed draws others, 0 new ones each
// time; .ci/run -n does so for long.
package fixedseed

import (
	"flag"
	"os"

	_ "pgregory.net/rapid" // has the flag
)

const seed = "1"

func init() {
	if _, given := os.LookupEnv("RAPID_SEED"); given {
		return
	}
	if err := flag.Set("rapid.seed", seed); err != nil {
		panic(err)
	}
}
