// What a text value can be told to be by what it equals, never by what its field is called.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/shelf/package.h"

namespace fettle::contact {

// How a value led to a file, strongest first.
enum class Via {
    path,       // it is the file's path in the package
    beside,     // it is the path seen from the folder in which the index stands
    end,        // the path of one file alone ends with it
    address,    // "file:x-1.0.tgz": what stands behind the scheme (RFC 8089) is the path
    last_part,  // its last part ("…/x-1.0.tgz") is the name of one file alone
};
const char* words(Via v);

struct Found {
    std::size_t member = 0;
    Via via = Via::path;
};

// The files of a package by name.
class Names {
public:
    explicit Names(const std::vector<shelf::Member>& members);
    // What the value leads to; `index` is the path of the text in which it stands.
    std::optional<Found> find(std::string_view value, std::string_view index) const;
    bool is_name(std::string_view word) const;  // path or last part of a path

private:
    std::optional<Found> plain(std::string_view value, std::string_view index) const;

    std::map<std::string, std::size_t, std::less<>> paths_;
    std::map<std::string, std::vector<std::size_t>, std::less<>> last_parts_;
    const std::vector<shelf::Member>& members_;
};

// A text that could be a digest, by its length and alphabet: {"sha1", "hex", 20 bytes}.
struct DigestText {
    std::string algorithm;  // as DigestStream names it
    std::string encoding;   // "hex" or "base64"
    Bytes bytes;
};
// nullopt: of no length that a digest has. "sha512-…", "sha256=…" and "md5:…" are taken apart.
std::optional<DigestText> digest_text(std::string_view value);

bool is_size(std::string_view value, std::uint64_t size);  // the number in decimal
// "27.3.118", "v2.0-rc1", "1:5.10~beta3": at least two numbers with a dot between, at most 60 characters.
bool is_version(std::string_view value);

}  // namespace fettle::contact
