// Package shop is the catalogue: what a bureau has, knows and charges. One YAML file, checked as a whole.
//
// Everything a computation may depend on about the shop stands here: machines with their parameters,
// materials, finishing operations, people, shared resources, partners, rates, calendars. The catalogue is
// data: it is read once, validated, and handed down as an argument. Its Revision is the digest of its text, so that
// an old quotation can name the catalogue it was computed from.
//
// Units stand in the field names. Money is in minor units of Firm.Currency unless the name says per hour, per kg …
// in which case it is minor units per that.
package shop

import (
	"firstoff/digest"
	"firstoff/money"
)

// Origin says where a number comes from: a handbook row, a supplier's sheet, "common practice", "own actuals".
type Origin string

// Catalogue is the whole shop.
type Catalogue struct {
	Firm       Firm        `yaml:"firm"`
	Rates      Rates       `yaml:"rates"`
	Processes  []Process   `yaml:"processes"`
	Materials  []Material  `yaml:"materials"`
	Machines   []Machine   `yaml:"machines"`
	Resources  []Resource  `yaml:"resources"`
	People     []Person    `yaml:"people"`
	Shifts     []Shift     `yaml:"shifts"`
	Holidays   []Holiday   `yaml:"holidays"`
	Operations []Operation `yaml:"operations"`
	Partners   []Partner   `yaml:"partners"`
	// Workload is work already accepted when the shop began to use the program; see Work.
	Workload []Work `yaml:"workload"`
	// WorkloadAsOf is the moment Workload counts from, RFC 3339; empty means now.
	WorkloadAsOf string        `yaml:"workload_as_of"`
	Revision     digest.Digest `yaml:"-"`
}

// Firm is the bureau itself.
type Firm struct {
	Name         string       `yaml:"name"`
	Address      []string     `yaml:"address"`
	Email        string       `yaml:"email"`
	Phone        string       `yaml:"phone"`
	Currency     string       `yaml:"currency"` // ISO 4217
	TimeZone     string       `yaml:"time_zone"`
	CutOff       string       `yaml:"cut_off"` // "12:00": a complete request after it counts as received next business day
	TaxName      string       `yaml:"tax_name"`
	TaxPct       float64      `yaml:"tax_pct"`
	ValidDays    int          `yaml:"valid_days"` // of a quotation
	MinimumOrder money.Amount `yaml:"minimum_order_minor"`
	MarginPct    float64      `yaml:"margin_pct"` // of price, not a markup on cost
	RushMaxPct   float64      `yaml:"rush_max_pct"`
	RoundTo      money.Amount `yaml:"round_to_minor"` // price ladder step for a unit price, e.g. 5
	PromiseLevel float64      `yaml:"promise_level"`  // 0.9: the promised date is the P90
	OverheadPct  float64      `yaml:"overhead_pct"`   // on conversion cost
	FailClause   string       `yaml:"fail_clause"`    // remake terms printed on the quotation
}

// Rates are what people's time and the general things cost.
type Rates struct {
	EstimatorPerH money.Amount `yaml:"estimator_per_h_minor"` // file work
	OperatorPerH  money.Amount `yaml:"operator_per_h_minor"`
	FinisherPerH  money.Amount `yaml:"finisher_per_h_minor"`
	InspectorPerH money.Amount `yaml:"inspector_per_h_minor"`
	PackingFixed  money.Amount `yaml:"packing_fixed_minor"`
	ShippingFixed money.Amount `yaml:"shipping_fixed_minor"`
	ShippingPerKg money.Amount `yaml:"shipping_per_kg_minor"`
	EnergyPerKWh  float64      `yaml:"energy_per_kwh_minor"`
	FileWorkMin   float64      `yaml:"file_work_min"` // per part number and revision
}

// Process is a process category by its ISO/ASTM 52900 code with the limits of geometry that hold for it.
type Process struct {
	Code  string `yaml:"code"`  // MEX, MJT, VPP, PBF-LB/P, PBF-IrL/P, PBF-LB/M, BJT, CAST, CNC
	Name  string `yaml:"name"`  // trade words for the client
	Class string `yaml:"class"` // "industrial", "laser", "mask" …
	// Limits of geometry and accuracy; see docs/handbook/tables/process_limits.csv.
	MinWallHeldMM  float64  `yaml:"min_wall_held_mm"`
	MinWallFreeMM  float64  `yaml:"min_wall_free_mm"`
	MinFeatureMM   float64  `yaml:"min_feature_mm"`
	MinHoleMM      float64  `yaml:"min_hole_mm"`
	MinGapMM       float64  `yaml:"min_gap_mm"`
	SelfSupportDeg float64  `yaml:"self_support_deg"` // from the horizontal; 0 = any slope stands by itself
	NeedsSupport   bool     `yaml:"needs_support"`
	TolFixedMM     float64  `yaml:"tol_fixed_mm"`
	TolPerLength   float64  `yaml:"tol_per_length"` // mm/mm; the larger of fixed and per length holds
	ITGrade        int      `yaml:"it_grade"`
	RaUM           float64  `yaml:"ra_um"`          // process floor of roughness
	EscapeHoleMM   float64  `yaml:"escape_hole_mm"` // 0: none needed
	ManyMaterials  bool     `yaml:"many_materials"` // several materials in one build
	Yield          float64  `yaml:"yield"`
	Cautions       []string `yaml:"cautions"`
	Origin         Origin   `yaml:"origin"`
}

// Range is low to high.
type Range struct {
	Lo float64 `yaml:"lo"`
	Hi float64 `yaml:"hi"`
}

// Mid is the middle.
func (r Range) Mid() float64 { return (r.Lo + r.Hi) / 2 }

// Material is a build or support material.
type Material struct {
	ID          string       `yaml:"id"`
	Name        string       `yaml:"name"`
	Processes   []string     `yaml:"processes"`
	Support     string       `yaml:"support"` // for support materials: "breakaway", "soluble", "gel"; empty for build materials
	DensityGCM3 float64      `yaml:"density_g_cm3"`
	PricePerKg  money.Amount `yaml:"price_per_kg_minor"`
	Colors      []string     `yaml:"colors"`
	Loaded      bool         `yaml:"-"`
	// Engineering data (typical, printed to moulded); zero range = not stated.
	EMPa        Range    `yaml:"e_mpa"`
	UTSMPa      Range    `yaml:"uts_mpa"`
	ElongPct    Range    `yaml:"elong_pct"`
	HDT045C     Range    `yaml:"hdt_045_c"`
	HDT182C     Range    `yaml:"hdt_182_c"`
	GlassC      Range    `yaml:"glass_c"` // glass or melting temperature
	IzodJM      Range    `yaml:"izod_j_m"`
	ShoreA      Range    `yaml:"shore_a"`
	ShoreD      Range    `yaml:"shore_d"`
	UV          string   `yaml:"uv"`   // good | moderate | poor
	Food        string   `yaml:"food"` // route in words; empty = none
	Bio         string   `yaml:"bio"`
	Sterilise   []string `yaml:"sterilise"` // steam, eto, gamma, h2o2
	Chemical    string   `yaml:"chemical"`  // good | moderate | poor
	Flame       bool     `yaml:"flame"`     // a flame certificate is available by lot
	ESD         bool     `yaml:"esd"`
	Clear       bool     `yaml:"clear"`
	Flexible    bool     `yaml:"flexible"`
	Friction    string   `yaml:"friction"`    // low | medium | high
	ZFactor     float64  `yaml:"z_factor"`    // strength across layers / in plane
	RefreshPct  float64  `yaml:"refresh_pct"` // powders: share of new powder in a build
	DryingH     float64  `yaml:"drying_h"`
	Notes       string   `yaml:"notes"`
	Origin      Origin   `yaml:"origin"`
	SupportsFor []string `yaml:"supports_for"` // support materials: build materials it goes with
}

// Capital is what an hour-rate is built up from (handbook 4.1).
type Capital struct {
	Price           money.Amount `yaml:"price_minor"`
	Residual        money.Amount `yaml:"residual_minor"`
	LifeYears       float64      `yaml:"life_years"`
	InterestPct     float64      `yaml:"interest_pct"` // on mean capital
	MaintPerYear    money.Amount `yaml:"maint_per_year_minor"`
	FloorM2         float64      `yaml:"floor_m2"`
	FloorPerM2      money.Amount `yaml:"floor_per_m2_minor"` // a year
	HoursPerYear    float64      `yaml:"hours_per_year"`
	UtilPct         float64      `yaml:"util_pct"`
	PowerKW         float64      `yaml:"power_kw"`
	ConsumablesPerH money.Amount `yaml:"consumables_per_h_minor"`
}

// Envelope is a usable build box in mm.
type Envelope struct {
	X float64 `yaml:"x_mm"`
	Y float64 `yaml:"y_mm"`
	Z float64 `yaml:"z_mm"`
}

// Machine is one machine of the fleet (a Count > 1 means that many alike).
type Machine struct {
	ID            string    `yaml:"id"`
	Name          string    `yaml:"name"`
	Process       string    `yaml:"process"` // Process.Code
	Count         int       `yaml:"count"`
	Envelope      Envelope  `yaml:"envelope"`
	EdgeMM        float64   `yaml:"edge_mm"`    // kept free along the platform's edge
	SpacingMM     float64   `yaml:"spacing_mm"` // between parts
	LayersMM      []float64 `yaml:"layers_mm"`
	Materials     []string  `yaml:"materials"`      // build materials it can run
	Supports      []string  `yaml:"supports"`       // support materials it can run
	Loaded        []string  `yaml:"loaded"`         // materials in it now
	ChangeoverMin float64   `yaml:"changeover_min"` // person and machine, from one material family to another
	PurgeG        float64   `yaml:"purge_g"`        // of build material per changeover or start, see process
	WarmUpH       float64   `yaml:"warm_up_h"`
	CoolDownH     float64   `yaml:"cool_down_h"` // fixed part
	SetUpMin      float64   `yaml:"set_up_min"`  // person, per build
	UnloadMin     float64   `yaml:"unload_min"`  // person, per build
	Calendar      string    `yaml:"calendar"`    // "always" or a shift id; starts and unloads always need a person
	Capital       Capital   `yaml:"capital"`
	FailPct       float64   `yaml:"fail_pct"`   // of builds
	SpreadPct     float64   `yaml:"spread_pct"` // one sd of actual/estimated build time
	MEX           *MEX      `yaml:"mex"`
	MJT           *MJT      `yaml:"mjt"`
	PBF           *PBF      `yaml:"pbf"`
	VPP           *VPP      `yaml:"vpp"`
	BJT           *BJT      `yaml:"bjt"`
	Cast          *Cast     `yaml:"cast"`
	Origin        Origin    `yaml:"origin"`
}

// Room is the envelope in sizes of the finished part: what shrinks after the build is built larger.
func (m *Machine) Room() Envelope {
	e := m.Envelope
	if m.BJT != nil {
		g := 1 / m.BJT.Growth()
		e.X, e.Y, e.Z = e.X*g, e.Y*g, e.Z*g
	}
	return e
}

// MEX are the parameters of an extrusion machine (handbook 3.1).
type MEX struct {
	RoadPerLayer    float64   `yaml:"road_per_layer"` // road width / layer height at the usual layers, e.g. 2
	RoadMinMM       float64   `yaml:"road_min_mm"`
	RoadMaxMM       float64   `yaml:"road_max_mm"`
	Contours        int       `yaml:"contours"`
	SkinMM          float64   `yaml:"skin_mm"`     // solid thickness above and below sparse infill
	InfillsPct      []float64 `yaml:"infills_pct"` // offered; 100 = solid
	SpeedMMS        float64   `yaml:"speed_mm_s"`
	ContourMMS      float64   `yaml:"contour_mm_s"`
	SupportMMS      float64   `yaml:"support_mm_s"`
	AccelMMS2       float64   `yaml:"accel_mm_s2"`
	JunctionMM      float64   `yaml:"junction_mm"` // junction deviation
	TravelMMS       float64   `yaml:"travel_mm_s"`
	StartS          float64   `yaml:"start_s"`     // each start of a road: retract, prime
	FlowMM3S        float64   `yaml:"flow_mm3_s"`  // melt limit
	LayerS          float64   `yaml:"layer_s"`     // layer change incl. tip wipe
	SwitchS         float64   `yaml:"switch_s"`    // model/support tip change, per layer that has both
	SupportPct      float64   `yaml:"support_pct"` // density of support fill
	InterfaceLayers int       `yaml:"interface_layers"`
	BaseLayers      int       `yaml:"base_layers"` // support base under the part
	PurgePerLayerG  float64   `yaml:"purge_per_layer_g"`
	SpoolTailPct    float64   `yaml:"spool_tail_pct"`
	RasterDeg       []float64 `yaml:"raster_deg"` // raster directions from x, taken in turn by layer; multiples of 45; empty = 45, 135
}

// MJT are the parameters of a jetting machine (handbook 3.2).
type MJT struct {
	SwathMM    float64 `yaml:"swath_mm"`
	PassMMS    float64 `yaml:"pass_mm_s"`
	OverrunMM  float64 `yaml:"overrun_mm"`
	TurnS      float64 `yaml:"turn_s"`
	Passes     float64 `yaml:"passes"` // per swath
	LayerS     float64 `yaml:"layer_s"`
	MaintEvery int     `yaml:"maint_every_layers"`
	MaintS     float64 `yaml:"maint_s"`
	GridPct    float64 `yaml:"grid_pct"`       // density of the support grid
	SkinG      float64 `yaml:"skin_g_per_cm2"` // support skin on matte faces
	WastePct   float64 `yaml:"waste_pct"`
	Slots      int     `yaml:"slots"` // build materials loaded at once
}

// PBF are the parameters of a powder-bed machine (handbook 3.4, 3.5).
type PBF struct {
	RecoatS      float64 `yaml:"recoat_s"`
	ScanMMS      float64 `yaml:"scan_mm_s"`
	HatchMM      float64 `yaml:"hatch_mm"`
	ContourMMS   float64 `yaml:"contour_mm_s"`
	ScanShare    float64 `yaml:"scan_share"` // real over ideal rate
	Lasers       int     `yaml:"lasers"`
	LayerMinS    float64 `yaml:"layer_min_s"`
	CoolTauC0H   float64 `yaml:"cool_tau_c0_h"` // tau = c0 + c1·H
	CoolTauC1HMM float64 `yaml:"cool_tau_c1_h_mm"`
	BedC         float64 `yaml:"bed_c"`
	OpenC        float64 `yaml:"open_c"`
	RoomC        float64 `yaml:"room_c"`
	PackPct      float64 `yaml:"pack_pct"`    // usual share of part volume in the bed
	FusedAgent   bool    `yaml:"fused_agent"` // layer time constant (agent and heat)
	UnpackMin    float64 `yaml:"unpack_min"`
	Metal        bool    `yaml:"metal"`
	InertH       float64 `yaml:"inert_h"`
	SupportPct   float64 `yaml:"support_pct"` // metal: anchors as a share of their columns; 0 = 15, common practice
}

// VPP are the parameters of a vat machine (handbook 3.3).
type VPP struct {
	Mask       bool    `yaml:"mask"`
	DpMM       float64 `yaml:"dp_mm"`
	EcMJCM2    float64 `yaml:"ec_mj_cm2"`
	PowerMW    float64 `yaml:"power_mw"`
	SpotMM     float64 `yaml:"spot_mm"`
	HatchMM    float64 `yaml:"hatch_mm"`
	SpeedShare float64 `yaml:"speed_share"` // real over theoretical, 0.685 measured by Chen & Sullivan 1996
	RecoatS    float64 `yaml:"recoat_s"`
	MaskMWCM2  float64 `yaml:"mask_mw_cm2"`
	BaseLayers int     `yaml:"base_layers"`
	BaseS      float64 `yaml:"base_s"`
	MechS      float64 `yaml:"mech_s"`
	OvercureMM float64 `yaml:"overcure_mm"`
	SupportPct float64 `yaml:"support_pct"` // posts and tips as a share of their columns; 0 = 12, common practice
	DrainPct   float64 `yaml:"drain_pct"`   // resin that drains off with the parts; 0 = 7, of 5 to 10 common practice
}

// BJT are the parameters of a binder-jetting machine: a bed is recoated, binder is jetted over it in swaths, each layer dries. Curing, debinding
// and sintering are operations with their ovens. ShrinkPct is linear, from green to sintered (15 to 20 %, common practice).
type BJT struct {
	RecoatS     float64 `yaml:"recoat_s"`
	SwathMM     float64 `yaml:"swath_mm"`
	PassMMS     float64 `yaml:"pass_mm_s"`
	OverrunMM   float64 `yaml:"overrun_mm"`
	DryS        float64 `yaml:"dry_s"`
	ShrinkPct   float64 `yaml:"shrink_pct"`
	PackPct     float64 `yaml:"pack_pct"`     // powder bed density, % of solid: what the binder has to fill the rest of
	SaturatePct float64 `yaml:"saturate_pct"` // share of the pores filled with binder
	BinderPerL  float64 `yaml:"binder_per_l_minor"`
	LossPct     float64 `yaml:"loss_pct"` // powder that does not come back
}

// Growth is how much larger than the finished part the green one is built.
func (b *BJT) Growth() float64 { return 1 / (1 - b.ShrinkPct/100) }

// Cast are the parameters of a casting cell: masters, silicone tools, shots (handbook 3.6).
type Cast struct {
	MasterH         float64 `yaml:"master_h"`           // until the master is there, elapsed
	MasterMin       float64 `yaml:"master_min"`         // hands: finish of the master, which sets that of all copies
	MasterPerCM2Min float64 `yaml:"master_per_cm2_min"` // hands, more per cm² of surface
	MasterFixed     float64 `yaml:"master_fixed_minor"` // what the pattern costs besides hands
	MasterPerCM3    float64 `yaml:"master_per_cm3_minor"`
	WallMM          float64 `yaml:"wall_mm"` // silicone around the master
	SiliconeGCM3    float64 `yaml:"silicone_g_cm3"`
	SiliconePerKg   float64 `yaml:"silicone_per_kg_minor"`
	ToolMin         float64 `yaml:"tool_min"`    // hands a tool: pour, degas, cut, vent, close
	ToolCureH       float64 `yaml:"tool_cure_h"` // unattended
	Life            int     `yaml:"life_shots"`  // 15 to 25
	ShotMin         float64 `yaml:"shot_min"`    // hands and chamber: weigh, mix under vacuum, pour
	CureH           float64 `yaml:"cure_h"`
	DemouldMin      float64 `yaml:"demould_min"`
	SideBySide      int     `yaml:"side_by_side"` // tools worked at once
	DayH            float64 `yaml:"day_h"`
	WastePct        float64 `yaml:"waste_pct"` // resin left in cups, gates, risers
}

// Resource is something people share besides machines: a bath, an oven, a cabinet.
type Resource struct {
	ID       string       `yaml:"id"`
	Name     string       `yaml:"name"`
	Kind     string       `yaml:"kind"` // bath | oven | cabinet | bench | booth
	Count    int          `yaml:"count"`
	Liters   float64      `yaml:"liters"` // room for parts at once
	PerH     money.Amount `yaml:"per_h_minor"`
	Calendar string       `yaml:"calendar"`
	Cautions []string     `yaml:"cautions"`
}

// Person is someone who works here. Skills: operate, finish, inspect, estimate, pack.
type Person struct {
	ID     string   `yaml:"id"`
	Name   string   `yaml:"name"`
	Skills []string `yaml:"skills"`
	Shift  string   `yaml:"shift"`
}

// Shift is a week of working hours: for each weekday (mon…sun) spans like "07:00-12:00".
type Shift struct {
	ID   string              `yaml:"id"`
	Week map[string][]string `yaml:"week"`
}

// Holiday is a day the site is closed: a date 2006-01-02.
type Holiday struct {
	Date string `yaml:"date"`
	Name string `yaml:"name"`
}

// Operation is a step after (or before) the build, with its times. Which operations a part needs follows from
// When; amounts follow from Per.
type Operation struct {
	ID                  string   `yaml:"id"`
	Name                string   `yaml:"name"`
	Processes           []string `yaml:"processes"`        // where it applies; empty = all
	When                string   `yaml:"when"`             // always | support:<breakaway, soluble, gel, anchor, post> | finish:<id> | inspect:<level> | insert (part_min is then per insert)
	Skill               string   `yaml:"skill"`            // operate | finish | inspect | pack
	SetUpMin            float64  `yaml:"set_up_min"`       // hands, per batch
	PartMin             float64  `yaml:"part_min"`         // hands, per part
	PerCM2Min           float64  `yaml:"per_cm2_min"`      // hands, per cm² of Area
	Area                string   `yaml:"area"`             // contact | surface | support: which area PerCM2Min counts
	Resource            string   `yaml:"resource"`         // Resource.ID or empty
	ElapsedH            float64  `yaml:"elapsed_h"`        // in the resource, per batch, unattended
	PerMMElapsedH       float64  `yaml:"per_mm_elapsed_h"` // more elapsed per mm of support thickness (baths)
	MaterialMinorPerCM2 float64  `yaml:"material_minor_per_cm2"`
	MaterialFixedMinor  float64  `yaml:"material_fixed_minor"`
	SpreadPct           float64  `yaml:"spread_pct"`
	Cautions            []string `yaml:"cautions"`
	Sequence            int      `yaml:"sequence"` // order in the route
	Origin              Origin   `yaml:"origin"`
}

// Partner makes what the shop does not.
type Partner struct {
	ID          string         `yaml:"id"`
	Name        string         `yaml:"name"`
	Offers      []PartnerOffer `yaml:"offers"`
	TransitDays int            `yaml:"transit_days"` // business days, each way there is only one: partner to us
	HandlingPct float64        `yaml:"handling_pct"`
	Minimum     money.Amount   `yaml:"minimum_minor"`
	OnTimePct   float64        `yaml:"on_time_pct"`
}

// PartnerOffer is one process of a partner with its parametric rate.
type PartnerOffer struct {
	Process      string       `yaml:"process"`
	Materials    []string     `yaml:"materials"`
	Envelope     Envelope     `yaml:"envelope"`
	LayerMM      float64      `yaml:"layer_mm"`
	SetUp        money.Amount `yaml:"set_up_minor"`      // per order line
	PerCM3       money.Amount `yaml:"per_cm3_minor"`     // solid volume of part
	PerBoxCM3    float64      `yaml:"per_box_cm3_minor"` // volume of the box in the best pose
	PerCM2       float64      `yaml:"per_cm2_minor"`     // surface (finish)
	PerPart      money.Amount `yaml:"per_part_minor"`
	RemovePerCM3 float64      `yaml:"remove_per_cm3_minor"` // CNC: stock removed = box − part
	Mould        money.Amount `yaml:"mould_minor"`          // CAST: silicone tool
	MouldLife    int          `yaml:"mould_life"`           // shots
	ShotsPerDay  int          `yaml:"shots_per_day"`        // per tool
	MasterDays   int          `yaml:"master_days"`
	LeadDays     int          `yaml:"lead_days"` // business days at the partner for a first part
	PartsPerDay  float64      `yaml:"parts_per_day"`
	SpreadDays   float64      `yaml:"spread_days"` // one sd
	Origin       Origin       `yaml:"origin"`
}

// Work is a job in hand that came before the program: so much on a machine (or only by hand), so much work after it.
type Work struct {
	ID         string  `yaml:"id"`
	Title      string  `yaml:"title"`
	Machine    string  `yaml:"machine"` // empty: hand work only
	Material   string  `yaml:"material"`
	BuildH     float64 `yaml:"build_h"`
	Running    bool    `yaml:"running"`    // on the machine at WorkloadAsOf; BuildH is what is left
	FinishMin  float64 `yaml:"finish_min"` // hands after the build
	BathH      float64 `yaml:"bath_h"`
	InspectMin float64 `yaml:"inspect_min"`
	ReleaseH   float64 `yaml:"release_h"` // not before so many hours after WorkloadAsOf
	DueDays    int     `yaml:"due_days"`  // promised, business days after WorkloadAsOf
}

// Machine gives the machine with this id, or nil.
func (c *Catalogue) Machine(id string) *Machine {
	for i := range c.Machines {
		if c.Machines[i].ID == id {
			return &c.Machines[i]
		}
	}
	return nil
}

// Material gives the material with this id, or nil.
func (c *Catalogue) Material(id string) *Material {
	for i := range c.Materials {
		if c.Materials[i].ID == id {
			return &c.Materials[i]
		}
	}
	return nil
}

// Process gives the process with this code, or nil.
func (c *Catalogue) Process(code string) *Process {
	for i := range c.Processes {
		if c.Processes[i].Code == code {
			return &c.Processes[i]
		}
	}
	return nil
}

// Resource gives the shared resource with this id, or nil.
func (c *Catalogue) Resource(id string) *Resource {
	for i := range c.Resources {
		if c.Resources[i].ID == id {
			return &c.Resources[i]
		}
	}
	return nil
}

// Partner gives the partner with this id, or nil.
func (c *Catalogue) Partner(id string) *Partner {
	for i := range c.Partners {
		if c.Partners[i].ID == id {
			return &c.Partners[i]
		}
	}
	return nil
}

// HourRate builds up a machine's cost per hour in minor units, without labour (handbook 4.1, checks K07–K09):
// (depreciation + interest + maintenance + floor) / (hours × utilisation) + energy + consumables.
func (k Capital) HourRate(energyPerKWh float64) float64 {
	h := k.HoursPerYear * k.UtilPct / 100
	if h <= 0 || k.LifeYears <= 0 {
		return 0
	}
	dep := float64(k.Price-k.Residual) / k.LifeYears
	interest := k.InterestPct / 100 * float64(k.Price+k.Residual) / 2
	floor := k.FloorM2 * float64(k.FloorPerM2)
	return (dep+interest+float64(k.MaintPerYear)+floor)/h + k.PowerKW*energyPerKWh + float64(k.ConsumablesPerH)
}
