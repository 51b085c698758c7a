/*
 * Sends one line per 10 ms from a robot program in Java:
 *
 *     $t_ms=123450,wheel_counts=8812345,battery_mv=12345,setpoint=2450,fired=0*HH
 *
 * Copy the class into your program, fill in read() and give run() the stream of your serial port; alone it prints.
 * The wheel turns fast and keeps turning: fix the robot, stand clear and have a switch at hand before it is powered.
 * Fast wheels, loaded springs and flying elements can hurt: wear eye protection and keep the range clear. Event rules,
 * local codes and qualified supervision decide; no number here means that it is safe.
 */
import java.io.IOException;
import java.io.OutputStream;
import java.nio.charset.StandardCharsets;

public final class Sender {
    private static final long LINE_MS = 10;

    private Sender() {}

    /** What your robot knows. Replace each number by the real reading, and leave out the fields you don't have. */
    private static String read() {
        long wheelCounts = 0; // encoder counts, as they come
        int batteryMv = 12345;
        int setpoint = 0; // what your program asks of the wheel
        int fired = 0; // 1 on the line in which an element was released
        return "wheel_counts=" + wheelCounts + ",battery_mv=" + batteryMv
                + ",setpoint=" + setpoint + ",fired=" + fired;
    }

    /** $body*HH: HH is the XOR of all bytes of the body. */
    static byte[] framed(String body) {
        int check = 0;
        for (byte b : body.getBytes(StandardCharsets.US_ASCII)) {
            check ^= b;
        }
        String hex = Integer.toHexString(0x100 | (check & 0xFF)).substring(1).toUpperCase(java.util.Locale.ROOT);
        return ("$" + body + "*" + hex + "\n").getBytes(StandardCharsets.US_ASCII);
    }

    /** Sends lines until the thread is interrupted. */
    static void run(OutputStream port) throws IOException, InterruptedException {
        long start = System.nanoTime();
        long due = 0;
        while (!Thread.currentThread().isInterrupted()) {
            long now = (System.nanoTime() - start) / 1_000_000;
            if (now < due) {
                Thread.sleep(due - now);
                continue;
            }
            due = due + LINE_MS > now ? due + LINE_MS : now + LINE_MS; // after a late line the next ones don't hurry
            port.write(framed("t_ms=" + now + "," + read()));
            port.flush();
        }
    }

    public static void main(String[] words) throws IOException, InterruptedException {
        run(System.out);
    }
}
