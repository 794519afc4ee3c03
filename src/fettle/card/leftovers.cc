// What desktop systems leave on a card unasked, and archives by their magic. Names from common practice, no source.
#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/audit_parts.h"

namespace fettle::card {
namespace {

bool starts(ByteView head, std::size_t at, std::string_view magic) {
    const ByteView wanted = as_bytes(magic);
    return head.size() >= at + wanted.size() && std::equal(wanted.begin(), wanted.end(), head.subspan(at).begin());
}

}  // namespace

std::string_view leftover_of(std::string_view top_name) {
    const std::string key = name_key(top_name);
    const auto is = [&](std::initializer_list<std::string_view> names) {
        return std::find(names.begin(), names.end(), key) != names.end();
    };
    if (is({"SYSTEM VOLUME INFORMATION", "$RECYCLE.BIN", "RECYCLER", "DESKTOP.INI", "THUMBS.DB", "INDEXERVOLUMEGUID"}))
        return "Windows";
    if (is({".SPOTLIGHT-V100", ".TRASHES", ".FSEVENTSD", ".DS_STORE", ".TEMPORARYITEMS", ".APDISK"}) ||
        key.starts_with("._"))
        return "macOS";
    if (key == ".TRASH" || key.starts_with(".TRASH-") || is({".DIRECTORY", ".XDG-VOLUME-INFO"}))
        return "a Linux desktop";
    if (key.starts_with("FOUND.") || (key.starts_with("FSCK") && key.ends_with(".REC"))) return "a file-system repair";
    return {};
}

std::string_view archive_kind(ByteView head) {
    if (starts(head, 0, std::string_view("PK\x03\x04", 4))) return "zip";
    if (starts(head, 0, "7z\xBC\xAF\x27\x1C")) return "7z";
    if (starts(head, 0, "Rar!\x1A\x07")) return "rar";
    if (starts(head, 257, "ustar")) return "tar";
    if (starts(head, 0, "\x1F\x8B")) return "gzip";
    if (starts(head, 0, "BZh")) return "bzip2";
    if (starts(head, 0,
               std::string_view("\xFD"
                                "7zXZ\0",
                                6)))
        return "xz";
    if (starts(head, 0, "\x28\xB5\x2F\xFD")) return "zstd";
    return {};
}

std::string some_names(const std::vector<std::string>& names) {
    std::vector<std::string> shown;
    for (std::size_t i = 0; i < std::min<std::size_t>(3, names.size()); ++i)
        shown.push_back("'" + printable(names[i]) + "'");
    std::string out = join(shown, ", ");
    if (names.size() > 3) out += " and " + std::to_string(names.size() - 3) + " more";
    return out;
}

}  // namespace fettle::card
