// Package calibration corrects an output's readings by comparing them with a meter at
// the same terminal.
//
// A person puts two or more steady voltages on the output and says what the meter
// shows and how good its manual says it is. A straight line through the points gives
// gain and offset; what is left uncertain comes from the meter, from the points'
// scatter and from what drifts afterwards, no longer from the resistors' tolerance.
// Calibrations stand in a file of their own beside the rig file.
package calibration
