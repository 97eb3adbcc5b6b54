package flat

// Knobs is a trial hook.
var Knobs = map[string]float64{}

func knob(name string, def float64) float64 {
	if v, ok := Knobs[name]; ok {
		return v
	}
	return def
}
