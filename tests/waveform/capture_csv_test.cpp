// Capture files that must be read, as instruments write them.
#include "tables/capture_csv.h"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>

#include "waveform/files.h"

using namespace pinproof::waveform;

namespace {

constexpr std::size_t kRows = 200;

// Rows "time, current, voltage" of a known ramp: t = -1 ms + k 10 us,
// i = k mA, v = k / 10 V, printed by `row`.
std::string table(const std::string& header,
                  const std::function<std::string(double, double, double)>& row) {
  std::string out = header;
  for (std::size_t k = 0; k < kRows; ++k) {
    const double n = static_cast<double>(k);
    out += row(-1e-3 + 1e-5 * n, 1e-3 * n, 0.1 * n);
  }
  return out;
}

std::string print(const char* format, double a, double b, double c) {
  char out[160];
  std::snprintf(out, sizeof out, format, a, b, c);
  return out;
}

std::function<std::string(double, double, double)> plain(const char* format) {
  return [format](double t, double i, double v) { return print(format, t, i, v); };
}

std::string with_commas(std::string text) {
  std::replace(text.begin(), text.end(), '.', ',');
  return text;
}

void check_ramp(const pinproof::tables::ReadCapture& read, bool voltage = true) {
  REQUIRE(read.rows == kRows);
  const Capture& c = read.capture;
  CHECK(c.start_s == doctest::Approx(-1e-3));
  CHECK(c.interval_s == doctest::Approx(1e-5));
  REQUIRE(c.current_A.size() == kRows);
  REQUIRE(c.voltage_V.size() == (voltage ? kRows : 0));
  for (const std::size_t k : {std::size_t{0}, std::size_t{1}, kRows - 1}) {
    CHECK(c.current_A[k] == doctest::Approx(1e-3 * static_cast<double>(k)));
    if (voltage) CHECK(c.voltage_V[k] == doctest::Approx(0.1 * static_cast<double>(k)));
  }
  CHECK(fault_in(c).empty());
  CHECK_FALSE(read.resampled);
}

const char* const kPlain = "%.5f,%.4f,%.2f\n";

}  // namespace

TEST_CASE("header names with their units") {
  for (const char* header :
       {"time_s,current_A,voltage_V", "t_s,i_A,v_coil_V", "Time,Current,Voltage",
        "TIME [s],I (A),V(coil) [V]", "Time (s),CH2 [A],CH1 [V]", "x-axis,I,V", "time,amps,volts",
        "Second,Amp_A,Volt_V", "t,i,v", "# time_s,current_A,voltage_V",
        "\"Time (s)\",\"Coil current (A)\",\"Coil voltage (V)\""}) {
    CAPTURE(header);
    check_ramp(
        pinproof::tables::read_capture_csv(table(std::string(header) + "\n", plain(kPlain)), {}));
  }
}

TEST_CASE("prefixes of units") {
  const auto scaled = [](double t, double i, double v) {
    return print("%.6f,%.3f,%.1f\n", t * 1e3, i * 1e3, v * 1e3);
  };
  for (const char* header : {"Time (ms),I (mA),CH1 [mV]", "t_ms,i_mA,v_coil_mV",
                             "time [ms],current [mA],voltage [mV]"}) {
    CAPTURE(header);
    check_ramp(pinproof::tables::read_capture_csv(table(std::string(header) + "\n", scaled), {}));
  }
  const auto micro = [](double t, double i, double v) {
    return print("%.3f,%.3f,%.5f\n", t * 1e6, i * 1e6, v * 1e-3);
  };
  // The micro sign as U+00B5, as U+03BC, as one byte, and as a plain u.
  for (const char* u : {"\xC2\xB5", "\xCE\xBC", "\xB5", "u"}) {
    CAPTURE(u);
    const std::string header = std::string("t (") + u + "s),i (" + u + "A),v (kV)\n";
    check_ramp(pinproof::tables::read_capture_csv(table(header, micro), {}));
  }
}

TEST_CASE("a row of units below the names") {
  const auto scaled = [](double t, double i, double v) {
    return print("%.6f;%.3f;%.2f\n", t * 1e3, i * 1e3, v);
  };
  check_ramp(pinproof::tables::read_capture_csv(
      table("Time;Channel A;Channel B\n(ms);(mA);(V)\n\n", scaled), {}));
  check_ramp(
      pinproof::tables::read_capture_csv(table("Time;Current;Voltage\nms;mA;V\n", scaled), {}));
}

TEST_CASE("delimiters and decimal signs") {
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s;current_A;voltage_V\n", plain("%.5f;%.4f;%.2f\n")), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s\tcurrent_A\tvoltage_V\n", plain("%.5f\t%.4f\t%.2f\n")), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      with_commas(table("time_s;current_A;voltage_V\n", plain("%.5f;%.4f;%.2f\n"))), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      with_commas(table("time_s\tcurrent_A\tvoltage_V\n", plain("%.5e\t%.5E\t%.2f\n"))), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s,current_A,voltage_V\n", plain("%+.5e,%+.4f, %+.2f\n")), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s , current_A , voltage_V\n", plain("%.5f , %.4f ,  %.2f  \n")), {}));
}

TEST_CASE("line ends, byte order mark, quotes, empty lines, a delimiter at the end") {
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s,current_A,voltage_V\r\n", plain("%.5f,%.4f,%.2f\r\n")), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      "\xEF\xBB\xBF" + table("time_s,current_A,voltage_V\n", plain(kPlain)), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("\"time_s\",\"current_A\",\"voltage_V\"\n", plain("\"%.5f\",\"%.4f\",\"%.2f\"\n")),
      {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s,current_A,voltage_V,\n", plain("%.5f,%.4f,%.2f,\n")), {}));
  check_ramp(pinproof::tables::read_capture_csv(
      table("time_s,current_A,voltage_V\n\n", plain(kPlain)) + "\n \r\n", {}));
  std::string no_end = table("time_s,current_A,voltage_V\n", plain(kPlain));
  no_end.pop_back();
  check_ramp(pinproof::tables::read_capture_csv(no_end, {}));
}

TEST_CASE("an instrument's own lines before the samples") {
  check_ramp(pinproof::tables::read_capture_csv(
      table("Model,none\nSample interval,1.0E-05\nRecord length,200\n\nLabels,,\n"
            "time_s,current_A,voltage_V\n",
            plain(kPlain)),
      {}));
  // The settings stand left of the samples.
  std::size_t n = 0;
  const auto beside = [&n](double t, double i, double v) {
    const std::string left = n < 3 ? "Setting " + std::to_string(n) + ",12,," : ",,,";
    ++n;
    return left + print("%.5f,%.4f,%.2f,\n", t, i, v);
  };
  pinproof::tables::CsvOptions options;
  pinproof::tables::take_columns("time=4,current=5,voltage=6", options);
  check_ramp(pinproof::tables::read_capture_csv(table("", beside), options));
}

TEST_CASE("columns by name or number, in any order") {
  const auto other = [](double t, double i, double v) {
    return print("%.2f,%.5f,7,%.4f\n", v, t, i);
  };
  pinproof::tables::CsvOptions options;
  pinproof::tables::take_columns("time=B,current=4,voltage=1", options);
  const auto read = pinproof::tables::read_capture_csv(table("A,B,C,D\n", other), options);
  check_ramp(read);
  CHECK(read.time_header == "B");
  CHECK(read.current_header == "D");
  CHECK(read.voltage_header == "A");
  options = {};
  pinproof::tables::take_columns("current=\"I, probe 2\",time=b,voltage=a", options);
  check_ramp(pinproof::tables::read_capture_csv(table("A,B,C,\"I, probe 2\"\n", other), options));
  // Without a header only numbers can name them.
  options = {};
  pinproof::tables::take_columns("time=2,current=4,voltage=1", options);
  check_ramp(pinproof::tables::read_capture_csv(table("", other), options));
}

TEST_CASE("no voltage column") {
  const auto two = [](double t, double i, double) { return print("%.5f,%.4f\n", t, i, 0); };
  const auto read = pinproof::tables::read_capture_csv(table("time_s,current_A\n", two), {});
  check_ramp(read, false);
  CHECK(read.voltage_header.empty());
}

TEST_CASE("a shunt's voltage becomes current") {
  const auto shunt = [](double t, double i, double v) {
    return print("%.5f,%.3f,%.2f\n", t, i * 100, v);
  };
  pinproof::tables::CsvOptions options;
  options.shunt_ohm = 0.1;
  check_ramp(
      pinproof::tables::read_capture_csv(table("time_s,shunt (mV),v_coil (V)\n", shunt), options));
  options.current = "CH1 [mV]";
  check_ramp(
      pinproof::tables::read_capture_csv(table("time_s,CH1 [mV],CH2 [V]\n", shunt), options));
}

TEST_CASE("the coil's voltage is told from the switch's") {
  const auto read = pinproof::tables::read_capture_csv(data_file("spice/healthy_diode.csv"), {});
  CHECK(read.time_header == "t_s");
  CHECK(read.current_header == "i_A");
  CHECK(read.voltage_header == "v_coil_V");
  CHECK(read.rows == 5201);
  CHECK(read.capture.interval_s == doctest::Approx(1e-5));
}

TEST_CASE("times rounded by their last digit are even all the same") {
  // 8 us a step printed to whole microseconds and to four digits of a power.
  std::string whole = "t_us,i_A\n", power = "t_s,i_A\n";
  for (int k = 0; k < 3000; ++k) {
    whole += print("%.0f,%.4f\n", 8.3 * k, 1e-3 * k, 0);
    power += print("%.4e,%.4f\n", 8.3e-6 * k, 1e-3 * k, 0);
  }
  for (const std::string* text : {&whole, &power}) {
    const auto read = pinproof::tables::read_capture_csv(*text, {});
    CHECK(read.capture.interval_s == doctest::Approx(8.3e-6).epsilon(1e-3));
    CHECK_FALSE(read.resampled);
  }
}

TEST_CASE("steps that wander by less than one per cent are made even") {
  std::string text = "time_s,current_A\n";
  double t = 0;
  for (int k = 0; k < 2000; ++k) {
    text += print("%.12f,%.9f\n", t, 1000 * t, 0);
    t += 1e-5 * (1 + 0.008 * std::sin(k / 300.0));
  }
  const auto read = pinproof::tables::read_capture_csv(text, {});
  CHECK(read.resampled);
  const Capture& c = read.capture;
  // The current is a line in time: after resampling it must be one again.
  for (std::size_t k = 0; k < c.current_A.size(); ++k)
    REQUIRE(c.current_A[k] == doctest::Approx(1000 * c.time(static_cast<double>(k))).epsilon(1e-6));
}
