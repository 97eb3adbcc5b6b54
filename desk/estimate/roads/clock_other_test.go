//go:build !unix

package roads

import "time"

var begun = time.Now()

func processorS() float64 { return time.Since(begun).Seconds() }
