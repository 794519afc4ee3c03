#include "fettle/workshop/read_list.h"

#include "fettle/base/digest.h"

namespace fettle::workshop {
namespace {

constexpr std::string_view kMark = "# read over the link; SHA-256 of what follows: ";

}  // namespace

std::string as_read_list(std::string_view lines) {
    return std::string(kMark) + sha256_hex(lines) + "\n" + std::string(lines);
}

bool is_read_list(std::string_view text) {
    const auto end = text.find('\n');
    if (end == std::string_view::npos || !text.starts_with(kMark)) return false;
    return text.substr(kMark.size(), end - kMark.size()) == sha256_hex(text.substr(end + 1));
}

Result<change::InstalledList> installed_of(const ListText& typed) {
    auto list = change::parse_installed(typed.text, typed.place);
    if (list && is_read_list(typed.text)) list->origin = Origin::read;
    return list;
}

}  // namespace fettle::workshop
