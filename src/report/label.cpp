#include "report/label.h"

#include <cairo-pdf.h>
#include <cairo-svg.h>
#include <cairo.h>
#include <qrencode.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <numbers>
#include <utility>
#include <vector>

#include "quantity/characters.h"
#include "quantity/error.h"
#include "quantity/lines.h"
#include "quantity/phrase.h"

namespace pinproof::report {
namespace {

using inspection::Verdict;

constexpr double kPoints = 72 / 25.4;  // a millimetre of a PDF page
constexpr double kMargin = 1.2;        // mm that printers leave out at the edges
constexpr double kModule = 0.33;       // mm, four dots of a 300 dpi print head
constexpr int kQuiet = 4;              // modules of white around the code, ISO/IEC 18004
constexpr double kCodeShare = 0.45;    // of the width at most, so that the text keeps its place
constexpr double kCodeMost = 40;       // mm
constexpr double kRowMost = 10;        // mm
// Outlines are taken from the font this much larger: it rounds them to 1/64 of a unit.
constexpr double kFine = 100;
constexpr std::size_t kLongest = 400;  // characters of a name that are looked at
constexpr std::size_t kMarks = 3;      // on one letter
constexpr const char* kEllipsis = "\u2026";
constexpr double kSmallest = 0.6;  // of a row's size, before its text is shortened
constexpr double kLetters = 0.74;  // of a row's height

struct CairoFree {
  void operator()(cairo_surface_t* p) const { cairo_surface_destroy(p); }
  void operator()(cairo_t* p) const { cairo_destroy(p); }
  void operator()(cairo_path_t* p) const { cairo_path_destroy(p); }
  void operator()(QRcode* p) const { QRcode_free(p); }
};
using Surface = std::unique_ptr<cairo_surface_t, CairoFree>;
using CairoContext = std::unique_ptr<cairo_t, CairoFree>;
using QrCode = std::unique_ptr<QRcode, CairoFree>;

// At most kLongest characters, an ellipsis for more, "?" for what is no UTF-8 or is not seen.
std::string clean(const std::string& text) {
  std::string out;
  std::string_view rest = text;
  std::size_t marks = 0;
  for (std::size_t count = 0; !rest.empty() && count < kLongest; ++count) {
    const Character one = first_character(rest);
    marks = columns_of(one.code) == 0 ? marks + 1 : 0;
    if (marks <= kMarks) append(out, is_unseen(one.code) ? U'?' : one.code);
    rest.remove_prefix(one.bytes);
  }
  return rest.empty() ? out : out + kEllipsis;
}

// Letters are measured and outlined on a sheet without end: a page drops what lies far outside it.
struct Pens {
  cairo_t* ink;
  cairo_t* letters;
};

void set_face(cairo_t* letters, bool bold) {
  cairo_select_font_face(letters, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
}

// In millimetres, like `size`.
double width(cairo_t* letters, const std::string& text, double size) {
  cairo_set_font_size(letters, size * kFine);
  cairo_text_extents_t extents{};
  cairo_text_extents(letters, text.c_str(), &extents);
  return std::max(extents.x_advance, extents.x_bearing + extents.width) / kFine;
}

void expect_font(cairo_t* letters) {
  set_face(letters, false);
  if (width(letters, "M", 1) > 0 && cairo_status(letters) == CAIRO_STATUS_SUCCESS) return;
  throw Error(Fault::usage,
              "the label cannot be written: no sans-serif font is to be found on this machine "
              "(its letters have no width); install one");
}

// As outlines: a printer needs no font, and no font goes into the file.
void write(const Pens& pens, double x, double baseline, const std::string& text, double size) {
  cairo_set_font_size(pens.letters, size * kFine);
  cairo_new_path(pens.letters);
  cairo_move_to(pens.letters, 0, 0);
  cairo_text_path(pens.letters, text.c_str());
  const std::unique_ptr<cairo_path_t, CairoFree> outline(cairo_copy_path(pens.letters));
  cairo_new_path(pens.ink);
  cairo_save(pens.ink);
  cairo_translate(pens.ink, x, baseline);
  cairo_scale(pens.ink, 1 / kFine, 1 / kFine);
  cairo_append_path(pens.ink, outline.get());
  cairo_fill(pens.ink);
  cairo_restore(pens.ink);
}

// In its own row: smaller first, and only then shortened to the longest beginning that fits.
void write_fitted(const Pens& pens, double baseline, const std::string& text, double size,
                  double most) {
  size *= std::clamp(most / std::max(width(pens.letters, text, size), 1e-9), kSmallest, 1.0);
  const auto cut = [&](std::size_t count) { return std::string(head(text, count)) + kEllipsis; };
  const auto fits = [&](const std::string& t) {
    return width(pens.letters, t, size) <= most + 1e-6;
  };
  if (fits(text)) return write(pens, kMargin, baseline, text, size);
  std::size_t good = 0, too_long = columns(text);
  while (too_long - good > 1) {
    const std::size_t middle = (good + too_long) / 2;
    (fits(cut(middle)) ? good : too_long) = middle;
  }
  write(pens, kMargin, baseline, cut(good), size);
}

void polygon(cairo_t* at, double x, double y, double radius, int corners, double turned) {
  for (int k = 0; k < corners; ++k) {
    const double a = 2 * std::numbers::pi * (k + turned) / corners;
    cairo_line_to(at, x + radius * std::sin(a), y - radius * std::cos(a));
  }
  cairo_close_path(at);
  cairo_fill(at);
}

// Each shape differs in its outline too: a label may be half worn off. Around (x, y), of radius r.
void draw_shape(cairo_t* at, Verdict verdict, double x, double y, double r) {
  using Strokes = std::vector<std::array<double, 4>>;  // from x, y to x, y
  static const Strokes kTick{{-0.5, 0.05, -0.15, 0.42}, {-0.15, 0.42, 0.5, -0.38}};
  static const Strokes kCross{{-0.4, -0.4, 0.4, 0.4}, {-0.4, 0.4, 0.4, -0.4}};
  static const Strokes kCall{{0, -0.4, 0, 0.25}, {0, 0.6, 0, 0.61}};
  cairo_new_path(at);
  if (verdict == Verdict::accept) polygon(at, x, y, r, 72, 0);
  if (verdict == Verdict::reject) polygon(at, x, y, r, 8, 0.5);
  if (verdict == Verdict::hold) polygon(at, x, y + 0.2 * r, 1.2 * r, 3, 0);
  cairo_set_source_rgb(at, 1, 1, 1);
  cairo_set_line_width(at, 0.24 * r);
  cairo_set_line_cap(at, CAIRO_LINE_CAP_ROUND);
  for (const auto& s : verdict == Verdict::accept   ? kTick
                       : verdict == Verdict::reject ? kCross
                                                    : kCall) {
    cairo_move_to(at, x + r * s[0], y + r * s[1]);
    cairo_line_to(at, x + r * s[2], y + r * s[3]);
  }
  cairo_stroke(at);
  cairo_set_source_rgb(at, 0, 0, 0);
}

std::string word_of(Verdict verdict) {
  std::string out(name_of(verdict));
  for (char& c : out) c = static_cast<char>(c - 'a' + 'A');
  return out;
}

Verdict large(const LabelCase& one) {
  return inspection::worse(one.verdict, one.decided.value_or(one.verdict));
}

// Empty where that stands large already.
std::string measured(const LabelCase& one) {
  return large(one) == one.verdict ? "" : std::string(name_of(one.verdict));
}

// Never shortened: written smaller where it does not fit.
void draw_verdict(const Pens& pens, const LabelCase& one, double row, double wide) {
  constexpr double kShape = 1.25, kGap = 0.3, kLevel = 0.5;  // of the word's size
  const std::string word = word_of(large(one)), level = "level " + std::string(name_of(one.level));
  const double level_share = width(pens.letters, level, kLevel);
  set_face(pens.letters, true);
  const double word_share = width(pens.letters, word, 1);
  const double size = std::min(0.8 * row, wide / (kShape + word_share + kGap + level_share));
  const double baseline = kMargin + (row + 0.73 * size) / 2, x = kMargin + kShape * size;
  draw_shape(pens.ink, large(one), kMargin + 0.5 * size, baseline - 0.365 * size, 0.48 * size);
  write(pens, x, baseline, word, size);
  set_face(pens.letters, false);
  write(pens, x + (word_share + kGap) * size, baseline, level, kLevel * size);
}

struct LabelRow {
  std::string text;
  double height;  // in parts of a row
  bool bold = false;
};

std::vector<LabelRow> rows_of(const LabelCase& one) {
  const auto or_none = [](const char* what, const std::string& text) {
    return text.empty() ? std::string("no ") + what : std::string(what) + " " + clean(text);
  };
  std::vector<LabelRow> out{{or_none("serial", one.serial), 1.1, true},
                            {or_none("lot", one.lot), 1},
                            {clean(one.profile), 1},
                            {clean(one.date), 1}};
  if (!measured(one).empty()) out.push_back({"measured " + measured(one), 0.8});
  if (!one.overridden_by.empty()) out.push_back({"overridden by " + clean(one.overridden_by), 0.8});
  return out;
}

bool is_shortened(const Pens& pens, const std::vector<LabelRow>& rows, double unit, double wide) {
  return std::any_of(rows.begin(), rows.end(), [&](const LabelRow& row) {
    set_face(pens.letters, row.bold);
    return width(pens.letters, row.text, kSmallest * kLetters * row.height * unit) > wide;
  });
}

void draw_words(const Pens& pens, const LabelCase& one, double wide, double high) {
  constexpr double kVerdict = 1.8;  // rows
  expect_font(pens.letters);
  auto rows = rows_of(one);
  const auto unit_of = [&] {
    double parts = kVerdict;
    for (const LabelRow& row : rows) parts += row.height;
    return std::min((high - 2 * kMargin) / parts, kRowMost);
  };
  double unit = unit_of();
  if (is_shortened(pens, rows, unit, wide)) {
    rows.push_back({kEllipsis + std::string(" shortened: all of it is in the record"), 0.8});
    unit = unit_of();
  }
  draw_verdict(pens, one, kVerdict * unit, wide);
  double top = kMargin + kVerdict * unit;
  for (const LabelRow& row : rows) {
    const double height = row.height * unit;
    set_face(pens.letters, row.bold);
    write_fitted(pens, top + 0.78 * height, row.text, kLetters * height, wide);
    top += height;
  }
}

QrCode code_of(const std::string& id) {
  const bool visible =
      std::all_of(id.begin(), id.end(), [](char c) { return c > 0x20 && c < 0x7f; });
  if (id.empty() || id.size() > 64 || !visible)
    throw Error(Fault::usage, "label: the id of the record \"" + clean(id.substr(0, 70)) +
                                  "\": 1 to 64 visible ASCII characters are wanted");
  QrCode out(QRcode_encodeString(id.c_str(), 0, QR_ECLEVEL_M, QR_MODE_8, 1));
  if (!out) throw Error(Fault::usage, "label: no QR code can hold the id \"" + id + "\"");
  return out;
}

double module_of(const QRcode& code, const LabelSize& size) {
  const double side = std::min({size.high_mm, kCodeShare * size.wide_mm, kCodeMost});
  const double module = side / (code.width + 2 * kQuiet);
  if (module >= kModule) return module;
  const double wanted = kModule * (code.width + 2 * kQuiet);
  throw Error(Fault::usage, "a label of " + significant(size.wide_mm, 4) + " x " +
                                significant(size.high_mm, 4) +
                                " mm leaves the QR code modules of " + significant(module, 4) +
                                " mm; scanners want 0.33 mm: take a label of at least " +
                                significant(std::ceil(wanted / kCodeShare), 4) + " x " +
                                significant(std::ceil(wanted), 4) + " mm, or a shorter id");
}

// One path for all modules: parted ones would show seams.
void draw_code(cairo_t* at, const QRcode& code, double module, double x0, double y0) {
  cairo_new_path(at);
  for (int y = 0; y < code.width; ++y)
    for (int x = 0; x < code.width; ++x)
      if ((code.data[y * code.width + x] & 1) != 0)
        cairo_rectangle(at, x0 + (x + kQuiet) * module, y0 + (y + kQuiet) * module, module, module);
  cairo_fill(at);
}

void check(const LabelSize& size) {
  if (size.wide_mm >= 30 && size.wide_mm <= 200 && size.high_mm >= 15 && size.high_mm <= 200)
    return;
  throw Error(Fault::usage, "a label of " + significant(size.wide_mm, 4) + " x " +
                                significant(size.high_mm, 4) +
                                " mm: 30 to 200 wide and 15 to 200 high is allowed");
}

// `unit`: how many of the surface's units a millimetre has.
void draw(cairo_surface_t* surface, double unit, const LabelCase& one, const LabelSize& size) {
  const QrCode code = code_of(one.id);
  const double module = module_of(*code, size), side = module * (code->width + 2 * kQuiet);
  const Surface sheet(cairo_recording_surface_create(CAIRO_CONTENT_ALPHA, nullptr));
  const CairoContext at(cairo_create(surface)), letters(cairo_create(sheet.get()));
  cairo_scale(at.get(), unit, unit);
  cairo_set_source_rgb(at.get(), 1, 1, 1);
  cairo_paint(at.get());
  cairo_set_source_rgb(at.get(), 0, 0, 0);
  draw_words({at.get(), letters.get()}, one, size.wide_mm - side - kMargin, size.high_mm);
  draw_code(at.get(), *code, module, size.wide_mm - side, (size.high_mm - side) / 2);
  cairo_show_page(at.get());
  cairo_status_t status = cairo_status(at.get());
  cairo_surface_finish(surface);
  if (status == CAIRO_STATUS_SUCCESS) status = cairo_surface_status(surface);
  if (status != CAIRO_STATUS_SUCCESS)
    throw Error(Fault::usage, std::string("label: ") + cairo_status_to_string(status));
}

cairo_status_t take(void* into, const unsigned char* bytes, unsigned int count) noexcept {
  static_cast<std::string*>(into)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

// cairo numbers the drawings of a process; the same label shall have the same bytes.
void unnumber(std::string& svg) {
  constexpr std::string_view kNumbered = "<g id=\"surface";
  for (auto at = svg.find(kNumbered); at != std::string::npos; at = svg.find(kNumbered, at + 1)) {
    const auto from = at + kNumbered.size();
    svg.erase(from, svg.find('"', from) - from);
  }
}

}  // namespace

std::string label_svg(const LabelCase& one, const LabelSize& size) {
  check(size);
  std::string out;
  const Surface surface(
      cairo_svg_surface_create_for_stream(take, &out, size.wide_mm, size.high_mm));
  cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_MM);
  draw(surface.get(), 1, one, size);
  unnumber(out);
  return out;
}

std::string label_pdf(const LabelCase& one, const LabelSize& size) {
  check(size);
  std::string out;
  const Surface surface(cairo_pdf_surface_create_for_stream(take, &out, size.wide_mm * kPoints,
                                                            size.high_mm * kPoints));
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, "Pack label");
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_CREATE_DATE, "");  // none
  draw(surface.get(), kPoints, one, size);
  return out;
}

std::string label_text(const LabelCase& one) {
  static constexpr const char* kSign[] = {"✔ ", "✖ ", "▲ "};  // in the order of Verdict
  std::string out = kSign[static_cast<std::size_t>(large(one))] + word_of(large(one)) + " (level " +
                    std::string(name_of(one.level)) + ")\n";
  const auto add = [&out](const std::string& what, const std::string& text) {
    const std::string line = "  " + padded(what, 14) + " " + (text.empty() ? "none" : clean(text));
    const std::string tail = kEllipsis + std::string(" (shortened)");
    out += columns(line) <= kWidth ? line : std::string(head(line, kWidth - columns(tail))) + tail;
    out += '\n';
  };
  add("Serial", one.serial);
  add("Lot", one.lot);
  add("Profile", one.profile);
  add("Date", one.date);
  add("Record", one.id);
  if (!measured(one).empty()) add("Measured", measured(one));
  if (!one.overridden_by.empty()) add("Overridden by", one.overridden_by);
  return out;
}

}  // namespace pinproof::report
