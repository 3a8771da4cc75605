// The label that goes on a tested pack: the verdict to be read by eye, the record to be read by a
// scanner. Black on white only, since labels come from thermal printers.
#pragma once

#include <optional>
#include <string>

#include "inspection/checks/judgement.h"

namespace pinproof::report {

/// Texts may hold anything: what moves a cursor or turns the writing round is replaced by "?", and
/// what is too long is shortened with an ellipsis, and the label says so.
struct LabelCase {
  std::string id;  ///< of the record: 1 to 64 visible ASCII characters; all that the QR code holds
  std::string serial, lot, profile;
  inspection::Verdict verdict =
      inspection::Verdict::hold;  ///< of the measurement, overridden or not
  inspection::Level level = inspection::Level::static_;
  std::string date;           ///< as it shall be printed
  std::string overridden_by;  ///< empty: the verdict stands
  /// By whom the verdict is overridden. The worse of the two is written large: nobody fits a pack
  /// for what stands in small print.
  std::optional<inspection::Verdict> decided = std::nullopt;
};

struct LabelSize {
  double wide_mm = 62;  ///< 30 to 200
  double high_mm = 29;  ///< 15 to 200
};

/// One page of exactly this size. The same case gives the same bytes, as long as the fonts of the
/// machine stay. Throw Error(Fault::usage) for another size, an id that is none, modules of the QR
/// code below 0.33 mm, and where no font is to be found.
std::string label_svg(const LabelCase& one, const LabelSize& size = {});
std::string label_pdf(const LabelCase& one, const LabelSize& size = {});

/// The same for a terminal; the id stands for the QR code.
std::string label_text(const LabelCase& one);

}  // namespace pinproof::report
