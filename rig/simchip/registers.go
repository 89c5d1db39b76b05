package simchip

// The four registers, as the pointer's low bits name them.
const (
	regConversion = 0
	regConfig     = 1
	regLow        = 2
	regHigh       = 3
)

// Fields of the configuration register.
const (
	bitOS       = 1 << 15
	shiftMux    = 12
	shiftRange  = 9
	bitSingle   = 1 << 8
	shiftRate   = 5
	bitPolarity = 1 << 3
	maskQueue   = 3
)

// Register contents after power-up and after a general call reset. The OS bit
// of 8583h is no stored bit: it reads 1 because no conversion runs.
const (
	resetConfig = 0x8583 &^ bitOS
	resetLow    = 0x8000
	resetHigh   = 0x7FFF
)

// fullScale is the range in ± volts for each setting of the amplifier.
var fullScale = [8]float64{6.144, 4.096, 2.048, 1.024, 0.512, 0.256, 0.256, 0.256}

// Conversions a second for each setting of the data rate.
var (
	rates1115 = [8]float64{8, 16, 32, 64, 128, 250, 475, 860}
	rates1015 = [8]float64{128, 250, 490, 920, 1600, 2400, 3300, 3300}
)

// ground stands for the ground pin in the multiplexer's table.
const ground = 4

// pins are the positive and the negative input for each multiplexer setting.
var pins = [8][2]uint8{
	{0, 1}, {0, 3}, {1, 3}, {2, 3},
	{0, ground}, {1, ground}, {2, ground}, {3, ground},
}
