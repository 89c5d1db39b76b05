// Package archive copies the runs of rigs' logs to the workshop's PostgreSQL, and back.
//
// The rig's log stays the truth. Rows are only added to the archive; a run is seen there when
// its row in the table push is, which comes last and in one transaction with the last of its
// cycles. So a push can be cut off at any instant and be done again, by several rigs at once.
package archive
