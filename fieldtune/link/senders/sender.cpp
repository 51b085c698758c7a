/*
 * Sends one line per 10 ms to any output stream, standard C++17 without further libraries:
 *
 *     $t_ms=123450,wheel_counts=8812345,battery_mv=12345,setpoint=2450,fired=0*HH
 *
 * Build:  g++ -std=c++17 -O2 -Wall -Wextra -o sender sender.cpp
 *
 * Copy it into the robot program, fill in read() and give send() the stream of the serial port.
 * The wheel turns fast and keeps turning: fix the robot, stand clear and have a switch at hand before it is powered.
 * Fast wheels, loaded springs and flying elements can hurt: wear eye protection and keep the range clear. Event rules,
 * local codes and qualified supervision decide; no number here means that it is safe.
 */
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <iostream>
#include <string>
#include <thread>

using Clock = std::chrono::steady_clock;
static const Clock::time_point began = Clock::now();
static const std::chrono::milliseconds line_time(10);

/* What the robot knows. Replace each number by the real reading, and leave out the fields that you don't have. */
static std::string read()
{
    const long wheel_counts = 0; /* encoder counts, as they come */
    const long battery_mv = 12345;
    const long setpoint = 0; /* what your program asks of the wheel */
    const bool fired = false; /* true on the line in which an element was released */
    return "wheel_counts=" + std::to_string(wheel_counts) + ",battery_mv=" + std::to_string(battery_mv) +
           ",setpoint=" + std::to_string(setpoint) + ",fired=" + (fired ? "1" : "0");
}

/* "$body*HH": HH is the XOR of all bytes of the body. */
static std::string framed(const std::string &body)
{
    unsigned char check = 0;
    for (unsigned char byte : body) {
        check ^= byte;
    }
    char ending[6];
    std::snprintf(ending, sizeof ending, "*%02X\n", check);
    return "$" + body + ending;
}

static void send(std::ostream &out)
{
    const auto now = std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - began);
    out << framed("t_ms=" + std::to_string(static_cast<std::uint32_t>(now.count())) + "," + read()) << std::flush;
}

int main()
{
    for (auto due = Clock::now(); std::cout; due += line_time) {
        send(std::cout);
        std::this_thread::sleep_until(due + line_time);
    }
}
