/* The monitor in C, from nothing to a proven stop. On a board the two loops below are interrupts and the main loop; here the inputs come
 * from standard input, a line each (microseconds, kind, which, value), and verdicts go to standard output.
 *
 *     leg PLAN.bin < inputs
 *
 * NOT A CERTIFIED SAFETY DEVICE. Lock out and tag out the drive before anything is opened; never jog a choked leg. */
#include <inttypes.h>
#include <stdio.h>

#include "slackside.h"

/* All zeros: not ready, and allows nothing. */
static slackside_monitor monitor;

static void told(void *user, const slackside_verdict *it) {
    (void)user;
    printf("%" PRIu64 " %u %d %u %u %" PRId32 " %u %" PRId32 "\n", it->at_us, it->change, it->condition, it->from, it->to, it->value,
           it->value_known, it->setpoint);
}

/* On a board: write two pins, and read back that the relays followed. */
static void outputs(uint8_t permits) {
    static uint8_t before = 0xFF;
    if (permits != before) {
        fprintf(stderr, "run %s, feed %s\n", permits & 1 ? "given" : "dropped", permits & 2 ? "given" : "dropped");
        before = permits;
    }
}

int main(int count, char **arguments) {
    uint8_t plan[SLACKSIDE_PLAN_BYTES], retained[SLACKSIDE_RETAINED_BYTES];
    unsigned long long at;
    unsigned kind, which;
    int value;

    outputs(slackside_permits(&monitor));
    FILE *file = count == 2 ? fopen(arguments[1], "rb") : NULL;
    if (file == NULL || fread(plan, 1, sizeof plan, file) != sizeof plan) {
        fputs("give a plan: slackside sheet --write-plan\n", stderr);
        return 2;
    }
    fclose(file);
    /* On the bench nothing is retained. In service: what was read from flash, or NULL if that cannot be read. */
    slackside_nothing_retained(retained);
    if (slackside_start(&monitor, plan, retained) != SLACKSIDE_RESULT_OK) {
        fputs("the plan is refused: make it anew at the desk\n", stderr);
        return 2;
    }
    while (scanf("%llu %u %u %d", &at, &kind, &which, &value) == 4) {
        slackside_input input = {.at_us = at, .value = value, .kind = (uint8_t)kind, .which = (uint8_t)which};
        if (slackside_observe(&monitor, &input, told, NULL) != SLACKSIDE_RESULT_OK) {
            fprintf(stderr, "at %llu us: no input\n", at);
            return 2;
        }
        outputs(slackside_permits(&monitor));
    }
    return 0;
}
