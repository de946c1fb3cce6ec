/* The Slackside monitor core for firmware in C. Written by cbindgen from crates/slackside-c; do not edit.
 *
 * NOT A CERTIFIED SAFETY DEVICE. Lock out and tag out the drive before anything is opened; never jog a choked leg.
 * Permits are energised to allow: hold both outputs off until slackside_permits says otherwise, in every round anew.
 */

#ifndef SLACKSIDE_H
#define SLACKSIDE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

/*
 Words of 64 bits in a monitor.
 */
#define SLACKSIDE_WORDS 768

/*
 Bytes of a plan.
 */
#define SLACKSIDE_PLAN_BYTES 1124

/*
 Bytes of what must outlive a loss of power.
 */
#define SLACKSIDE_RETAINED_BYTES 88

/*
 What came of a call.
 */
typedef enum slackside_result {
  /*
   It is done.
   */
  SLACKSIDE_RESULT_OK = 0,
  /*
   The monitor was not started, or could not be: it allows nothing.
   */
  SLACKSIDE_RESULT_NOT_READY = 1,
  /*
   A pointer is null, or not aligned as its type is.
   */
  SLACKSIDE_RESULT_BAD_POINTER = 2,
  /*
   These bytes are no plan of this version of the core: make it with the desk program that belongs to it.
   */
  SLACKSIDE_RESULT_NOT_A_PLAN = 3,
  /*
   The plan breaks a rule: make it anew at the desk.
   */
  SLACKSIDE_RESULT_PLAN_BROKEN = 4,
  /*
   The plan has more targets a turn than there is room for.
   */
  SLACKSIDE_RESULT_NO_ROOM = 5,
  /*
   The input is of no kind, or cannot have this value. Nothing was taken.
   */
  SLACKSIDE_RESULT_BAD_INPUT = 6,
} slackside_result;

/*
 What arrived; `which` and `value` mean what is said here.
 */
typedef enum slackside_kind {
  /*
   Nothing: no earlier input follows.
   */
  SLACKSIDE_KIND_TICK = 0,
  /*
   A target sensor, `which` 0 head, 1 boot; `value` 1 it went high, 0 low.
   */
  SLACKSIDE_KIND_EDGE = 1,
  /*
   A supervised sensor line, likewise; 0 sound, 1 open, 2 shorted.
   */
  SLACKSIDE_KIND_LINE = 2,
  /*
   Edges of that shaft were lost.
   */
  SLACKSIDE_KIND_EDGES_LOST = 3,
  /*
   A rub contact, `which` 0 head left, 1 head right, 2 boot left, 3 boot right; 0 clear, 1 rubbing, 2 faulty.
   */
  SLACKSIDE_KIND_CONTACT = 4,
  /*
   Temperature there, in tenths of a degree Celsius.
   */
  SLACKSIDE_KIND_TEMPERATURE = 5,
  /*
   The starter's auxiliary contact: 1 on, 0 off.
   */
  SLACKSIDE_KIND_DRIVE = 6,
  /*
   Power at the head shaft in watts.
   */
  SLACKSIDE_KIND_POWER = 7,
  /*
   The speed asked of the drive, in parts per million of normal.
   */
  SLACKSIDE_KIND_REFERENCE = 8,
  /*
   The outlet: 1 plugged, 0 free.
   */
  SLACKSIDE_KIND_OUTLET = 9,
  /*
   A person at the leg acknowledges the alarms.
   */
  SLACKSIDE_KIND_ACKNOWLEDGE = 10,
  /*
   The reset button at the leg: 1 held down, 0 let go; it acts on release after 0.1 to 3 s.
   */
  SLACKSIDE_KIND_RESET = 11,
  /*
   A person at the leg has looked into the boot and found it clear.
   */
  SLACKSIDE_KIND_BOOT_CLEARED = 12,
  /*
   The key: 1 on, 0 off.
   */
  SLACKSIDE_KIND_KEY = 13,
  /*
   Inching: 1 begins, 0 ends; needs the key.
   */
  SLACKSIDE_KIND_INCH = 14,
} slackside_kind;

/*
 What changed.
 */
typedef enum slackside_change {
  /*
   An alarm went from one state to another: `condition`, `from`, `to`, `value` (if `value_known`), `setpoint`.
   */
  SLACKSIDE_CHANGE_ALARM = 0,
  /*
   A permit was given (`to` 1) or dropped (0): `from` 0 run, 1 feed; `condition` what dropped it.
   */
  SLACKSIDE_CHANGE_PERMIT = 1,
  /*
   The first condition of a trip group: `condition`.
   */
  SLACKSIDE_CHANGE_FIRST_OUT = 2,
  /*
   The leg does something else now: `to`.
   */
  SLACKSIDE_CHANGE_PHASE = 3,
  /*
   A command was taken.
   */
  SLACKSIDE_CHANGE_ACCEPTED = 4,
  /*
   A command was refused.
   */
  SLACKSIDE_CHANGE_REFUSED = 5,
  /*
   A proof test ended: `to` 1 passed, 0 failed.
   */
  SLACKSIDE_CHANGE_PROOF_TEST = 6,
} slackside_change;

/*
 A monitor, in memory of the caller's: a static. What is in it is the library's alone. All zeros, it is not ready.
 */
typedef struct slackside_monitor {
  /*
   The library's alone.
   */
  uint64_t words[SLACKSIDE_WORDS];
} slackside_monitor;

/*
 One input.
 */
typedef struct slackside_input {
  /*
   When it happened, in microseconds of the clock that stamps the edges.
   */
  uint64_t at_us;
  /*
   How much, or which way.
   */
  int32_t value;
  /*
   What: one of slackside_kind. A plain number, so that any bytes are an input, if not a good one.
   */
  uint8_t kind;
  /*
   Of which shaft or place.
   */
  uint8_t which;
} slackside_input;

/*
 One change with the time it fell due.
 */
typedef struct slackside_verdict {
  /*
   When, in microseconds.
   */
  uint64_t at_us;
  /*
   The value, in the condition's unit.
   */
  int32_t value;
  /*
   What it is held against.
   */
  int32_t setpoint;
  /*
   The number of the condition; -1 for none.
   */
  int16_t condition;
  /*
   What changed: one of slackside_change.
   */
  uint8_t change;
  /*
   See there.
   */
  uint8_t from;
  /*
   See there.
   */
  uint8_t to;
  /*
   Whether `value` is known, 0 or 1.
   */
  uint8_t value_known;
} slackside_verdict;

/*
 Who is told of a verdict, in the order of time. `user` is what was handed in with it. Nothing of the verdict is there after the call.
 */
typedef void (*SlacksideSink)(void *user, const struct slackside_verdict *verdict);

/*
 What the leg is doing.
 */
typedef struct slackside_status {
  /*
   Slip over one boot turn is no less, in parts per million, if `slip_known`.
   */
  int32_t slip_least_ppm;
  /*
   It is no more; the greatest number there is while the boot is overdue.
   */
  int32_t slip_most_ppm;
  /*
   The number of the condition that tripped first; -1 for none.
   */
  int16_t first_out;
  /*
   0 not known yet, 1 stands, 2 starts, 3 runs, 4 runs down, 5 is inched.
   */
  uint8_t phase;
  /*
   Whether slip is known, 0 or 1. Unknown is never to be read as none.
   */
  uint8_t slip_known;
  /*
   Whether the boot must be reported clear before the next start, 0 or 1.
   */
  uint8_t boot_cleared_needed;
} slackside_status;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/*
 Start a monitor on a plan, which is copied. `retained` is what `slackside_retained` gave before power was lost; where it is null, damaged
 or of another version, what was latched is not known and counts as tripped, so that somebody must look.

 Whatever fails: the monitor is not ready then, and allows nothing.

 # Safety
 `monitor` is null or points to one that nobody else uses; `plan` is null or points to SLACKSIDE_PLAN_BYTES bytes; `retained` is null or
 points to SLACKSIDE_RETAINED_BYTES bytes.
 */
enum slackside_result slackside_start(struct slackside_monitor *monitor,
                                      const uint8_t *plan,
                                      const uint8_t *retained);

/*
 What is retained where nothing ever happened: for a test on the bench. A box in service starts with what it kept, or with null.

 # Safety
 `retained` is null or points to SLACKSIDE_RETAINED_BYTES bytes.
 */
enum slackside_result slackside_nothing_retained(uint8_t *retained);

/*
 What must outlive a loss of power, as it stands now: write it to flash whenever it has changed.

 # Safety
 `monitor` is null or points to one that nobody changes meanwhile; `retained` is null or points to SLACKSIDE_RETAINED_BYTES bytes.
 */
enum slackside_result slackside_retained(const struct slackside_monitor *monitor,
                                         uint8_t *retained);

/*
 Take one input: first what fell due before it, each with its own time, then the input itself. Inputs come in order of time; a tick
 promises that nothing earlier follows. `sink` may be null.

 # Safety
 `monitor` and `input` are null or point to one each, of which nobody else uses the monitor; `sink` is null or may be called with `user`.
 */
enum slackside_result slackside_observe(struct slackside_monitor *monitor,
                                        const struct slackside_input *input,
                                        SlacksideSink sink,
                                        void *user);

/*
 Which permits may be given now: bit 0 run, bit 1 feed. 0 for a monitor that is not ready, and for none. Asked in every round: an output
 is held by nothing else.

 # Safety
 `monitor` is null or points to one that nobody changes meanwhile.
 */
uint8_t slackside_permits(const struct slackside_monitor *monitor);

/*
 When to come back with a tick at the latest, in microseconds; the greatest number there is if nothing falls due by itself.

 # Safety
 `monitor` is null or points to one that nobody changes meanwhile; `at_us` is null or points to a number.
 */
enum slackside_result slackside_next_deadline(const struct slackside_monitor *monitor,
                                              uint64_t *at_us);

/*
 What the leg is doing now.

 # Safety
 `monitor` is null or points to one that nobody changes meanwhile; `status` is null or points to one.
 */
enum slackside_result slackside_get_status(const struct slackside_monitor *monitor, struct slackside_status *status);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* SLACKSIDE_H */
