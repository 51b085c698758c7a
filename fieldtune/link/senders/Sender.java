/*
 * Sends one line per 10 ms to any output stream, Java 8 or later without further libraries:
 *
 *     $t_ms=123450,wheel_counts=8812345,battery_mv=12345,setpoint=2450,fired=0*HH
 *
 * Build and run:  javac Sender.java && java Sender
 *
 * Copy it into the robot program, fill in read() and give run() the stream of the serial port.
 * The wheel turns fast and keeps turning: fix the robot, stand clear and have a switch at hand before it is powered.
 * Fast wheels, loaded springs and flying elements can hurt: wear eye protection and keep the range clear. Event rules,
 * local codes and qualified supervision decide; no number here means that it is safe.
 */
import java.io.IOException;
import java.io.OutputStream;
import java.nio.charset.StandardCharsets;

public class Sender {
    private static final long LINE_MS = 10;
    private static final long BEGAN = System.nanoTime();

    /** What the robot knows. Replace each number by the real reading, and leave out the fields that you don't have. */
    static String read() {
        long wheelCounts = 0; // encoder counts, as they come
        long batteryMv = 12345;
        long setpoint = 0; // what your program asks of the wheel
        boolean fired = false; // true on the line in which an element was released
        return "wheel_counts=" + wheelCounts + ",battery_mv=" + batteryMv + ",setpoint=" + setpoint
                + ",fired=" + (fired ? 1 : 0);
    }

    /** "$body*HH": HH is the XOR of all bytes of the body. */
    static String framed(String body) {
        int check = 0;
        for (byte one : body.getBytes(StandardCharsets.US_ASCII)) {
            check ^= one;
        }
        return String.format("$%s*%02X\n", body, check);
    }

    static void run(OutputStream out) throws IOException, InterruptedException {
        while (true) {
            long nowMs = (System.nanoTime() - BEGAN) / 1_000_000;
            out.write(framed("t_ms=" + nowMs + "," + read()).getBytes(StandardCharsets.US_ASCII));
            out.flush();
            Thread.sleep(LINE_MS);
        }
    }

    public static void main(String[] words) throws IOException, InterruptedException {
        run(System.out);
    }
}
