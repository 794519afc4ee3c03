// The list of pieces that `link read --save` writes and `plan --as-found` takes. Its first line carries the digest of
// what follows: a list that nobody touched since counts as read over the link, one edited by hand as typed.
#pragma once

#include <string>
#include <string_view>

#include "fettle/base/result.h"
#include "fettle/change/change.h"

namespace fettle::workshop {

std::string as_read_list(std::string_view lines);
bool is_read_list(std::string_view text);

// A list as it was typed or stood in a file, and the name of either for messages.
struct ListText {
    std::string text, place;
};
// What is installed: typed, or read where nobody touched it since. Errors: of change::parse_installed.
Result<change::InstalledList> installed_of(const ListText& list);

}  // namespace fettle::workshop
