/*
 * Sends one line per 10 ms from a small 8-bit AVR (ATmega328P, 16 MHz), with no framework:
 *
 *     $t_ms=123450,wheel_counts=8812345,battery_mv=12345,setpoint=2450,fired=0*HH
 *
 * Build:  avr-gcc -mmcu=atmega328p -DF_CPU=16000000UL -Os -Wall -Wextra -o sender.elf avr.c
 *
 * Encoder: channel A on PD2, channel B on PD3; every edge counts, so a turn gives four times the encoder's cycles
 * (put that number into the profile: counts_per_turn). Battery: a divider on ADC0. Put your own program where it says so.
 * The wheel turns fast and keeps turning: fix the robot, stand clear and have a switch at hand before it is powered.
 * Fast wheels, loaded springs and flying elements can hurt: wear eye protection and keep the range clear. Event rules,
 * local codes and qualified supervision decide; no number here means that it is safe.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

#ifndef F_CPU
#define F_CPU 16000000UL
#endif
#define BAUD 115200UL
#define LINE_MS 10
#define BATTERY_MV_FULL_SCALE 20000UL /* battery voltage at which ADC0 reads 1023 */

static volatile uint32_t now_ms;
static volatile int32_t wheel_counts;
static uint8_t line_sum; /* XOR of what was sent since the dollar sign */

/* Quadrature: index is old state (two bits) and new state (two bits); 0 also for the four jumps that can't be. */
static const int8_t step_of[16] = {0, -1, 1, 0, 1, 0, 0, -1, -1, 0, 0, 1, 0, 1, -1, 0};

ISR(TIMER0_COMPA_vect) { now_ms++; }

ISR(PCINT2_vect)
{
    static uint8_t state;
    state = (uint8_t)((state << 2 | ((PIND >> 2) & 3)) & 15);
    wheel_counts += step_of[state];
}

static void send_byte(char byte)
{
    while (!(UCSR0A & (1 << UDRE0))) {
    }
    UDR0 = (uint8_t)byte;
    line_sum ^= (uint8_t)byte;
}

static void send_text(const char *text)
{
    while (*text) {
        send_byte(*text++);
    }
}

static void send_number(uint32_t value)
{
    char digits[10];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + value % 10);
        value /= 10;
    } while (value);
    while (n) {
        send_byte(digits[--n]);
    }
}

static void send_field(const char *name, uint32_t value)
{
    send_text(name);
    send_number(value);
}

static void end_line(void)
{
    static const char hex[] = "0123456789ABCDEF";
    uint8_t sum = line_sum;
    send_byte('*');
    send_byte(hex[sum >> 4]);
    send_byte(hex[sum & 15]);
    send_byte('\n');
}

static uint32_t battery_mv(void)
{
    ADCSRA |= 1 << ADSC;
    while (ADCSRA & (1 << ADSC)) {
    }
    return ADC * BATTERY_MV_FULL_SCALE / 1023;
}

static void set_up(void)
{
    /* UART at 115200, 8N1, double speed for the smaller error of the divider. */
    UCSR0A = 1 << U2X0;
    UBRR0 = (F_CPU / 8 + BAUD / 2) / BAUD - 1;
    UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
    UCSR0B = 1 << TXEN0;
    /* Timer 0: one interrupt a millisecond. */
    TCCR0A = 1 << WGM01;
    TCCR0B = 1 << CS01 | 1 << CS00;
    OCR0A = F_CPU / 64 / 1000 - 1;
    TIMSK0 = 1 << OCIE0A;
    /* Encoder on PD2 and PD3, with pull-ups, an interrupt on each edge. */
    PORTD |= 1 << PD2 | 1 << PD3;
    PCMSK2 = 1 << PCINT18 | 1 << PCINT19;
    PCICR = 1 << PCIE2;
    /* ADC0 against the supply. */
    ADMUX = 1 << REFS0;
    ADCSRA = 1 << ADEN | 1 << ADPS2 | 1 << ADPS1 | 1 << ADPS0;
    sei();
}

int main(void)
{
    uint32_t due = 0;
    set_up();
    for (;;) {
        uint32_t t;
        uint32_t counts;
        uint16_t setpoint = 0; /* what your program asks of the wheel, rpm */
        uint8_t fired = 0;     /* 1 on the line in which an element was released */

        /* Your program goes here; it must not take longer than LINE_MS. */

        do {
            cli();
            t = now_ms;
            counts = (uint32_t)wheel_counts;
            sei();
        } while ((int32_t)(t - due) < 0);
        due += LINE_MS;
        send_byte('$');
        line_sum = 0;
        send_field("t_ms=", t);
        send_field(",wheel_counts=", counts);
        send_field(",battery_mv=", battery_mv());
        send_field(",setpoint=", setpoint);
        send_field(",fired=", fired);
        end_line();
    }
}
