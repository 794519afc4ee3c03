// Tells what a thing is before anything tries to read it: a saved error page, another kind of archive and a cut
// download each need another next step. By the first bytes, never by the name.
#include "fettle/shelf/package.h"

#include <fmt/core.h>

#include <algorithm>
#include <fstream>
#include <system_error>

#include "fettle/base/bytes.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

struct Magic {
    std::string_view bytes;
    std::size_t at;
    std::string_view kind;  // as open_archive() takes it
};
// Each from its format's own description, from memory: RFC 1952, RFC 8878, the xz, bzip2, 7z and POSIX ustar formats.
constexpr Magic archives[] = {
    {"\x1f\x8b", 0, "tar.gz"},
    {"\x28\xb5\x2f\xfd", 0, "tar.zst"},
    {std::string_view("\xfd"
                      "7zXZ\0",
                      6),
     0, "tar.xz"},
    {"BZh", 0, "tar.bz2"},
    {"7z\xbc\xaf\x27\x1c", 0, "7z"},
    {"ustar", 257, "tar"},
};

bool looks_like_web_page(std::string_view head) {
    const std::string text = lower(without_mark(trim(head)));
    return text.starts_with("<!doctype html") || text.starts_with("<html") || text.starts_with("<head") ||
           (text.starts_with("<?xml") && text.find("<html") != std::string::npos);
}

// The oldest tar has no magic: a header's checksum is the sum of its bytes, its own eight taken as blanks (POSIX
// ustar).
bool looks_like_old_tar(std::string_view head) {
    if (head.size() < 512 || head[0] == '\0') return false;
    std::uint64_t told = 0, sum = 0;
    std::size_t digits = 0;
    for (const char c : head.substr(148, 8)) {
        if (c >= '0' && c <= '7') {
            told = told * 8 + static_cast<std::uint64_t>(c - '0');
            ++digits;
        } else if (digits > 0) {
            break;
        }
    }
    for (std::size_t i = 0; i < 512; ++i) sum += i >= 148 && i < 156 ? ' ' : static_cast<unsigned char>(head[i]);
    return digits > 0 && told == sum;
}

// 7z names in its first 32 bytes where its directory ends (7zFormat.txt); xz ends in "YZ" and, if at all, zero bytes
// (xz format, 2.1.2). What ends before was cut off.
bool breaks_off(std::string_view kind, std::string_view head, std::ifstream& in, std::uintmax_t size) {
    if (kind == "7z") {
        if (head.size() < 32) return true;
        const std::uint64_t at = load_le64(as_bytes(head), 12), length = load_le64(as_bytes(head), 20);
        return at > size || length > size || 32 + at + length > size;
    }
    if (kind != "tar.xz") return false;
    std::string end(std::min<std::uintmax_t>(size, 64), '\0');
    in.clear();
    in.seekg(static_cast<std::streamoff>(size - end.size()));
    in.read(end.data(), static_cast<std::streamsize>(end.size()));
    end.resize(end.find_last_not_of('\0') + 1);
    return !end.ends_with("YZ");
}

tl::unexpected<Error> cut_off(const std::string& place, std::string_view kind, std::uintmax_t size) {
    return bad_input("archive-cut", place,
                     fmt::format("begins as a {} archive, but its end is missing after {}: a download that was cut off",
                                 kind, human_bytes(size)),
                     "get the package again from its source");
}

// The record that ends a zip archive (PK 5 6) stands in its last 65,557 bytes (22 and a comment of up to 65,535).
bool has_zip_end(std::ifstream& in, std::uintmax_t size) {
    const std::uintmax_t tail = std::min<std::uintmax_t>(size, 65'557);
    std::string end(tail, '\0');
    in.clear();
    in.seekg(static_cast<std::streamoff>(size - tail));
    in.read(end.data(), static_cast<std::streamsize>(tail));
    return end.rfind(std::string_view("PK\x05\x06", 4)) != std::string::npos;
}

}  // namespace

Result<std::unique_ptr<Package>> open_package(const fs::path& path, const std::set<std::string>& keep) {
    const std::string place = path.string();
    std::error_code ec;
    const fs::file_status status = fs::status(path, ec);
    if (!fs::exists(status))
        return bad_input("package-missing", place, "is not there", "check the path of the folder or archive");
    if (fs::is_directory(status)) return open_folder(path);
    if (!fs::is_regular_file(status))
        return bad_input("package-not-archive", place, "is neither a folder nor a file", "name a folder or an archive");
    std::ifstream in(path, std::ios::binary);
    const std::uintmax_t size = fs::file_size(path, ec);
    if (!in || ec)
        return bad_input("file-unreadable", place, "cannot be opened for reading", "check its rights, then try again");
    if (size == 0)
        return bad_input("package-empty", place, "is empty: 0 bytes", "get the package again from its source");
    std::string head(1024, '\0');
    in.read(head.data(), static_cast<std::streamsize>(head.size()));
    head.resize(static_cast<std::size_t>(in.gcount()));
    if (head.starts_with("PK\x03\x04") || head.starts_with("PK\x05\x06")) {
        if (!has_zip_end(in, size)) return cut_off(place, "zip", size);
        return open_archive(path, "zip", keep);
    }
    if (looks_like_web_page(head))
        return bad_input("package-web-page", place,
                         "is a web page, not an archive: a download that was answered with "
                         "a page (signed out, moved, sold out)",
                         "open it in a browser to see what it says, then get the package again");
    for (const Magic& m : archives)
        if (head.size() > m.at && std::string_view(head).substr(m.at).starts_with(m.bytes))
            return breaks_off(m.kind, head, in, size) ? cut_off(place, m.kind, size)
                                                      : open_archive(path, std::string(m.kind), keep);
    if (looks_like_old_tar(head)) return open_archive(path, "tar", keep);
    return bad_input(
        "package-not-archive", place,
        "is neither a folder nor an archive that is read here (zip, 7z, tar, tar.gz, tar.bz2, tar.xz, tar.zst)",
        Next{"name a folder or such an archive; the shelf also takes an index alone: ",
             propose(Act::add_to_shelf, {flag("index-only")})});
}

}  // namespace fettle::shelf
