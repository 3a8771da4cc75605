// The columns as --columns takes them in the first line, then a capture file: samples or an Error.
// What loads is written plainly and read back the same, and analysed.
#include "coils.h"
#include "quantity/text.h"
#include "tables/capture_csv.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

constexpr std::size_t kMostSamples = 2000;

std::string plain(const waveform::Capture& c) {
  std::string out = "time_s,current_A,voltage_V\n";
  for (std::size_t k = 0; k < c.current_A.size(); ++k)
    out += exact(c.time(static_cast<double>(k))) + "," + exact(c.current_A[k]) + "," +
           exact(c.voltage_V.empty() ? 0 : c.voltage_V[k]) + "\n";
  return out;
}

void expect_again(const waveform::Capture& capture) {
  pinproof::tables::CsvOptions options;
  options.file = kFile;
  pinproof::tables::ReadCapture again;
  // Times so far from zero that the steps drown in their digits are refused, in words.
  if (!accepted([&] { again = pinproof::tables::read_capture_csv(plain(capture), options); },
                kFile))
    return;
  expect(again.capture.current_A.size() == capture.current_A.size(), "as many samples");
  if (!again.resampled)
    expect(again.capture.current_A == capture.current_A, "written and read, the same");
}

}  // namespace

void try_capture(std::string_view input) {
  const std::string_view columns = take_line(input);
  pinproof::tables::CsvOptions options;
  options.file = kFile;
  if (!accepted([&] { pinproof::tables::take_columns(columns, options); })) return;
  pinproof::tables::ReadCapture read;
  if (!accepted([&] { read = pinproof::tables::read_capture_csv(input, options); }, kFile)) return;
  const waveform::Capture& capture = read.capture;
  expect(waveform::fault_in(capture).empty() || capture.current_A.size() < waveform::kFewestSamples,
         "what was read is fit to be analysed", waveform::fault_in(capture));
  if (capture.current_A.size() > kMostSamples) return;
  expect_again(capture);
  study_coil(capture, {});
}

}  // namespace pinproof::fuzz
