// In which language is a text? Only to see that a complaint and the release notes cannot be compared: where it is not
// clear, nothing is said.
#pragma once

#include <string>
#include <string_view>

namespace fettle::plan {

// "en", "de", …, or the script where it is not Latin: "Cyrillic", "Greek", "other". Empty: not clear.
std::string language_of(std::string_view text);

}  // namespace fettle::plan
