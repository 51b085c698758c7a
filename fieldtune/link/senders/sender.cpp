// Sends one line per 10 ms from a robot program in C++ (11 or newer):
//
//     $t_ms=123450,wheel_counts=8812345,battery_mv=12345,setpoint=2450,fired=0*HH
//
// Build:  g++ -std=c++11 -O1 -Wall -Wextra -o sender sender.cpp
//
// Copy the functions into your program, fill in read() and write the line to your serial port; alone it prints.
// The wheel turns fast and keeps turning: fix the robot, stand clear and have a switch at hand before it is powered.
// Fast wheels, loaded springs and flying elements can hurt: wear eye protection and keep the range clear. Event rules,
// local codes and qualified supervision decide; no number here means that it is safe.
#include <chrono>
#include <cstdint>
#include <cstdio>
#include <thread>

namespace {

constexpr std::int64_t line_ms = 10;

struct Readings {
  std::int64_t wheel_counts;
  int battery_mv;
  int setpoint;
  int fired;
};

/// What your robot knows. Replace each number by the real reading; leave fields you don't have out of the line.
Readings read() {
  Readings now;
  now.wheel_counts = 0;  // encoder counts, as they come
  now.battery_mv = 12345;
  now.setpoint = 0;  // what your program asks of the wheel
  now.fired = 0;     // 1 on the line in which an element was released
  return now;
}

/// Writes "$body*HH" and a line's end: HH is the XOR of all bytes of the body. True where all of it was written.
bool send(std::FILE *port, const char *body) {
  unsigned check = 0;
  for (const char *byte = body; *byte != '\0'; ++byte) {
    check ^= static_cast<unsigned char>(*byte);
  }
  return std::fprintf(port, "$%s*%02X\n", body, check) > 0 && std::fflush(port) == 0;
}

}  // namespace

int main() {
  using clock = std::chrono::steady_clock;
  const clock::time_point start = clock::now();
  std::int64_t due = 0;
  for (;;) {
    const std::int64_t now =
        std::chrono::duration_cast<std::chrono::milliseconds>(clock::now() - start).count();
    if (now < due) {
      std::this_thread::sleep_for(std::chrono::milliseconds(due - now));
      continue;
    }
    due = due + line_ms > now ? due + line_ms : now + line_ms;  // after a late line the next ones don't hurry
    const Readings is = read();
    char body[160];
    std::snprintf(body, sizeof body, "t_ms=%lld,wheel_counts=%lld,battery_mv=%d,setpoint=%d,fired=%d",
                  static_cast<long long>(now), static_cast<long long>(is.wheel_counts), is.battery_mv,
                  is.setpoint, is.fired);
    if (!send(stdout, body)) {
      return 1;
    }
  }
}
