package threemf

import (
	"firstoff/fault"
	"firstoff/intake/internal/zipxml"
)

// keystore reads which parts are encrypted (Secure Content 1.0). Nothing is deciphered: the keys belong to others.
func (r *reader) keystore(name string, encrypted map[string]bool) error {
	data, err := r.box.zip.Read(r.box.part(name))
	if err != nil {
		return err
	}
	s, err := root(data, nsSecure, "keystore")
	if err != nil {
		return fault.At(err, name[1:])
	}
	consumers := 0
	incomplete := func() {
		r.warn("3mf_keystore", name[1:], "The list of keys in the file is incomplete.")
	}
	for {
		k, err := s.Next()
		if err != nil {
			return fault.At(err, name[1:])
		}
		if k == zipxml.EOF {
			return nil
		}
		if k != zipxml.Start || s.Space() != nsSecure {
			continue
		}
		has := make(map[string]string)
		for _, a := range s.Attrs() {
			if a.Space == "" {
				has[string(a.Local)] = string(a.Value)
			}
		}
		switch string(s.Local()) {
		case "consumer":
			consumers++
			if has["consumerid"] == "" {
				incomplete()
			}
		case "resourcedatagroup":
			if has["keyuuid"] == "" {
				incomplete()
			}
		case "accessright":
			index, ok := has["consumerindex"]
			if !ok {
				incomplete()
				break
			}
			if n, ok := number([]byte(index)); !ok || int(n) >= consumers {
				return invalid("3mf_keystore", name[1:]+": "+s.Where(), "The list of keys names consumer %q, of only %d; export the model again.", clip(index), consumers)
			}
		case "resourcedata":
			target, err := resolve("", has["path"])
			if err != nil || has["path"] == "" || r.box.part(target) == nil {
				return invalid("3mf_keystore", name[1:]+": "+s.Where(), "The list of keys names the part %q, which is not in the package; export the model again.", clip(has["path"]))
			}
			encrypted[target] = true
		}
	}
}
