// Changing a family file's text in single places, so that everything a person wrote around them (remarks, order, blank
// lines) stays as it is. Pure; the caller loads the outcome.
#pragma once

#include <string>
#include <string_view>

#include "fettle/base/result.h"

namespace fettle::family {

// One value in a section: `[section]`, or the item-th `[[section]]` counted from 0.
struct ValueEdit {
    std::string section;
    int item = -1;  // -1: a plain section
    std::string key;
    std::string value;   // TOML, on one line
    std::string remark;  // behind a key that was not there before; a remark that stands there already is kept
};
// bad_input "edit-by-hand" with the line when the value stands over several lines or has a section of its own; when
// the text is no TOML, as parse_toml.
Result<std::string> set_value(std::string_view toml, const ValueEdit& edit);

// The text with the block behind its end, a blank line between.
std::string with_block(std::string_view toml, std::string_view block);

// As TOML writes it: "…" with escapes; a number with at most one digit behind the point.
std::string toml_text(std::string_view text);
std::string toml_number(double v);

}  // namespace fettle::family
