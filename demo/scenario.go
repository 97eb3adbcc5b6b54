package demo

// Enquiry is a made-up request to begin with.
type Enquiry struct {
	Title, Firm, Contact, Email, Note string
	NeedByDays                        int // business days from now; 0 = not said
	Files                             []File
}

// File is one model of an enquiry.
type File struct {
	Name string
	Data []byte
}

// Enquiries are the requests a demo desk opens with. Firms, people and parts are invented.
func Enquiries() []Enquiry {
	return []Enquiry{
		{Title: "Bearing bracket, first samples", Firm: "Marrowfield Pumps", Contact: "A. Reed", Email: "reed@marrowfield.example", NeedByDays: 7,
			Note:  "Twelve for bench tests, bore reamed by us. Warm oil mist, about 60 °C.",
			Files: []File{{"bearing-bracket.stl", file("bearing bracket", Bracket())}, {"dial-knob.stl", file("dial knob", Knob())}}},
		{Title: "Sensor housing", Firm: "Tarn Instruments", Contact: "I. Voss", Email: "voss@tarn.example",
			Note:  "To show at a fair; should feel like the moulded one.",
			Files: []File{{"sensor-housing.stl", file("sensor housing", Housing())}}},
		{Title: "Carrier tray for assembly line", Firm: "Oldgate Assembly", Contact: "M. Pell", Email: "pell@oldgate.example", NeedByDays: 10,
			Files: []File{{"carrier-tray.stl", file("carrier tray", Tray())}}},
	}
}
