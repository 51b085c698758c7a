/*
 * A student's program for an ATmega328P at 16 MHz, invented for a test: a line every 5 ms, but the counter that it prints
 * is read anew every 20 ms only, as where one task reads the sensors and a faster one prints.
 *
 * The wheel is inside: 2,000 rpm from the start, 56 counts a turn; at 3, 4, ... 8 s a shot takes 12 % of the speed at once,
 * which comes back with a time constant of 256 ms.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

#define BAUD 115200UL
#define LINE_MS 5
#define REFRESH_MS 20
#define COUNTS_PER_TURN 56L
#define RPM_Q8 (2000L << 8)
#define COUNT_Q8 (60000L << 8) /* rpm x ms x counts a turn that make one count */

static volatile uint32_t now_ms;
static volatile uint32_t read_counts;

ISR(TIMER0_COMPA_vect)
{
    static int32_t rpm_q8 = RPM_Q8;
    static int32_t phase;
    static uint32_t counts;
    uint32_t now = now_ms + 1;
    now_ms = now;
    if (now % 1000 == 0 && now >= 3000 && now <= 8000) {
        rpm_q8 -= rpm_q8 / 100 * 12;
    }
    rpm_q8 += (RPM_Q8 - rpm_q8) >> 8;
    phase += rpm_q8 * COUNTS_PER_TURN;
    while (phase >= COUNT_Q8) {
        phase -= COUNT_Q8;
        counts++;
    }
    if (now % REFRESH_MS == 0) {
        read_counts = counts;
    }
}

static void send_byte(char byte)
{
    while (!(UCSR0A & (1 << UDRE0))) {
    }
    UDR0 = (uint8_t)byte;
}

static void send_field(const char *name, uint32_t value)
{
    char digits[10];
    uint8_t n = 0;
    while (*name) {
        send_byte(*name++);
    }
    do {
        digits[n++] = (char)('0' + value % 10);
        value /= 10;
    } while (value);
    while (n) {
        send_byte(digits[--n]);
    }
}

int main(void)
{
    uint32_t due = LINE_MS;
    UCSR0A = 1 << U2X0; /* 115200 baud, 8N1, double speed for the smaller error of the divider */
    UBRR0 = (F_CPU / 8 + BAUD / 2) / BAUD - 1;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << TXEN0;
    TCCR0A = 1 << WGM01; /* timer 0: one interrupt a millisecond */
    TCCR0B = 1 << CS01 | 1 << CS00;
    OCR0A = F_CPU / 64 / 1000 - 1;
    TIMSK0 = 1 << OCIE0A;
    sei();
    for (;;) {
        uint32_t now;
        uint32_t counts;
        do {
            cli();
            now = now_ms;
            counts = read_counts;
            sei();
        } while ((int32_t)(now - due) < 0);
        due += LINE_MS;
        send_field("t_ms=", now);
        send_field(",wheel_counts=", counts);
        send_byte('\n');
    }
}
