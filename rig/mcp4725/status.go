package mcp4725

import "fmt"

// Mode is what the output does.
type Mode uint8

// The modes, by their power-down bits (as the Linux driver has them; the data sheet's
// table from memory). Switched off, the output is pulled to ground by a resistor.
const (
	Normal  Mode = iota
	Off1k        // 1 kohm to ground
	Off100k      // 100 kohm to ground
	Off500k      // 500 kohm to ground
)

// String says what the output does.
func (m Mode) String() string {
	return [...]string{"on", "off, 1 kohm to ground", "off, 100 kohm to ground", "off, 500 kohm to ground"}[m&3]
}

// Status is what the chip says of itself.
type Status struct {
	Idle    bool   // its EEPROM is not being written
	Powered bool   // its supply has come up
	Code    uint16 // what it puts out
	Mode    Mode
	// What it will put out after its next power-up, from its EEPROM.
	StoredCode uint16
	StoredMode Mode
}

// A read gives the status and the setting in its first bytes, then what the EEPROM holds.
const settingLen, statusLen = 3, 5

// decode reads the five bytes of a read (DS22039 figure 6-3): RDY, POR, three unused
// bits, PD1, PD0 and one unused; D11 to D4; D3 to D0 and four unused; then of the EEPROM
// one unused, PD1, PD0, one unused and D11 to D8; D7 to D0.
func decode(b [statusLen]byte) Status {
	return Status{
		Idle:       b[0]&0x80 != 0,
		Powered:    b[0]&0x40 != 0,
		Mode:       Mode(b[0] >> 1 & 3),
		Code:       uint16(b[1])<<4 | uint16(b[2]>>4),
		StoredMode: Mode(b[3] >> 5 & 3),
		StoredCode: uint16(b[3]&0x0F)<<8 | uint16(b[4]),
	}
}

// String tells what the chip puts out and what it will after its next power-up.
func (s Status) String() string {
	text := fmt.Sprintf("code %d, %s; at power-up code %d, %s", s.Code, s.Mode, s.StoredCode, s.StoredMode)
	if !s.Idle {
		text += "; its EEPROM is being written"
	}
	return text
}
