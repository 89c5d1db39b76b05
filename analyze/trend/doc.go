// Package trend follows one quantity of a unit over very many cycles in bounded
// memory: how its values spread, whether they drift or step, how often it was out
// of limits and whether that came in clusters, and whether a drift will reach a
// limit before the planned cycles are done. It knows no clock, no files and no
// unit: values go in one by one, figures come out. Package tally, which is apart for that,
// keeps one series for each quantity of a unit.
//
// A [Series] holds at most 64 KiB however long the run is:
//
//   - Mean and standard deviation by Welford's update (Knuth, The Art of Computer
//     Programming 2, 4.2.2), lag-1 autocorrelation from shifted sums.
//   - Quantiles from a t-digest (Dunning and Ertl, "Computing extremely accurate
//     quantiles using t-digests", arXiv:1902.04023); exact up to 384 values.
//   - For trends, 128 to 384 blocks of equally many successive values. The first
//     two times that blocks must be joined, three become their median, so a block
//     of nine bears four wild values; later, three become their mean. Drift and
//     step are tested on the blocks, never on single values once a run is longer
//     than 384 cycles. The last block, while incomplete, stays out: under one
//     hundredth of a run.
//   - For failures, sums over the gaps between them.
//
// Drift is tested by Mann and Kendall's rank test with Sen's slope (Sen, JASA 63
// (1968) 1379; Gilbert, Statistical Methods for Environmental Pollution
// Monitoring, 1987, chapter 16), steps by Pettitt's test (Applied Statistics 28
// (1979) 126). Both take the variance larger where the blocks depend on each other,
// by the correction of Hamed and Rao (Journal of Hydrology 204 (1998) 182), as they
// do where the workshop warms and cools by the day. The correction goes part of the
// way: of a thousand runs of 200 values without drift or step, 11 or fewer were
// called changed where the values were independent, 90 where each followed half of
// the one before (autoregressive, 0.5), 306 at 0.9. Joined blocks depend less on
// each other than single values do. A slow swing whose period is longer than the
// run can't be told from a drift by any test.
package trend
