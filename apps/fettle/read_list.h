// The list of pieces that `link read --save` writes and `plan --as-found` takes. Its first line carries the digest of
// what follows: a list that nobody touched since counts as read over the link, one edited by hand as typed.
#pragma once

#include <string>
#include <string_view>

namespace fettle::app {

std::string as_read_list(std::string_view lines);
bool is_read_list(std::string_view text);

}  // namespace fettle::app
