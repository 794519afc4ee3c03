// Small packages made by hand, signed with the example maker's public seed; for the shelf's tests.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/digest.h"
#include "fettle/base/ed25519.h"
#include "fettle/base/source_path.h"
#include "fettle/family/family.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

namespace fs = std::filesystem;

struct TempFolder {
    TempFolder() {
        // In memory where that is possible: killing a process asks nothing of a disk, and syncs cost nothing there.
        const fs::path root = ::access("/dev/shm", W_OK) == 0 ? fs::path("/dev/shm") : fs::temp_directory_path();
        std::string pattern = (root / "fettle-shelf-XXXXXX").string();
        path = mkdtemp(pattern.data());
    }
    TempFolder(const TempFolder&) = delete;
    ~TempFolder() { fs::remove_all(path); }
    fs::path path;
};

inline const family::Family& dunnock() {
    static const family::Family f = family::load_family(source_path("families/dunnock.toml")).value();
    return f;
}

// The same, but its file takes packages without a signature.
inline const family::Family& dunnock_unsigned_too() {
    static const family::Family f = [] {
        family::Family changed = dunnock();
        changed.package->unsigned_refused = false;
        return changed;
    }();
    return f;
}

inline Bytes maker_seed() {
    const Sha256 d = sha256(as_bytes("Vellmoor example maker key, not a secret"));
    return {d.begin(), d.end()};
}

inline void write(const fs::path& file, std::string_view content) {
    fs::create_directories(file.parent_path());
    std::ofstream(file, std::ios::binary) << content;
}

// One package as a map of path → content, with knobs for what a test wants to break.
struct Made {
    std::string release = "27.3.118";
    std::string family = "dunnock";
    std::string box = "main", region = "kernel";
    bool sign = true;
    std::map<std::string, std::string> pieces = {{"main/kernel.bin", "kernel bytes"},
                                                 {"main/fonts.bin", std::string(300'000, 'f')}};
    std::string digest_name = "sha256";                 // the mapping must name it too: see with_digest()
    std::map<std::string, std::string> extra_in_index;  // path → content that is listed but not there

    std::string index() const {
        std::string out = "{\"family\":\"" + family + "\",\"release\":\"" + release +
                          "\",\"markets\":[\"NS\"],\"installs_from\":\"26.4.102\",\"counter\":1,\"no_return\":false,"
                          "\"cures\":[\"Reversing picture freezes\"],\"pieces\":[";
        bool first = true;
        auto all = pieces;
        all.insert(extra_in_index.begin(), extra_in_index.end());
        for (const auto& [path, content] : all) {
            if (!first) out += ",";
            first = false;
            out += "{\"name\":\"" + path + "\",\"box\":\"" + box + "\",\"region\":\"" + region + "\",\"version\":\"" +
                   release + "\",\"file\":\"" + path + "\",\"bytes\":" + std::to_string(content.size()) + ",\"" +
                   digest_name + "\":\"" + digest_hex(digest_name, as_bytes(content)).value() + "\",\"issues\":[]}";
        }
        return out + "]}";
    }
    std::string signature() const { return as_text(ed25519_sign(maker_seed(), as_bytes(index()))); }

    fs::path folder(const fs::path& at) const {
        write(at / "release.json", index());
        if (sign) write(at / "release.sig", signature());
        for (const auto& [path, content] : pieces) write(at / path, content);
        return at;
    }
};

// A zip archive written by hand, stored without compression, by PKWARE's APPNOTE (from memory): local headers, a
// central directory, an end record. So that hostile ones can be made that no program would.
class ZipWriter {
public:
    // mode: the Unix file type and rights, e.g. 0120777 for a symbolic link. claimed: the size to write instead of the
    // true one. flags: bit 0 says "encrypted".
    ZipWriter& add(const std::string& name, const std::string& content, unsigned mode = 0100644,
                   std::optional<std::uint32_t> claimed = std::nullopt, unsigned flags = 0x800) {
        const std::uint32_t crc = crc32(as_bytes(content));
        const std::uint32_t size = claimed.value_or(static_cast<std::uint32_t>(content.size()));
        std::string head;
        put16(head, flags);
        put16(head, 0);  // stored
        put32(head, 0x58210000u);
        put32(head, crc);
        put32(head, static_cast<std::uint32_t>(content.size()));
        put32(head, size);
        put16(head, name.size());
        put16(head, 0);
        central_ += std::string("PK\1\2", 4);
        put16(central_, 0x0314);  // made on Unix
        put16(central_, 20);
        central_ += head;
        put16(central_, 0);
        put16(central_, 0);
        put16(central_, 0);
        put32(central_, mode << 16);
        put32(central_, bytes_.size());
        central_ += name;
        bytes_ += std::string("PK\3\4", 4);
        put16(bytes_, 20);
        bytes_ += head + name + content;
        ++count_;
        return *this;
    }

    std::string finish() const {
        std::string out = bytes_ + central_ + std::string("PK\5\6\0\0\0\0", 8);
        put16(out, count_);
        put16(out, count_);
        put32(out, central_.size());
        put32(out, bytes_.size());
        put16(out, 0);
        return out;
    }

private:
    static void put16(std::string& out, std::uint64_t v) {
        out += static_cast<char>(v & 0xFF);
        out += static_cast<char>(v >> 8 & 0xFF);
    }
    static void put32(std::string& out, std::uint64_t v) {
        put16(out, v & 0xFFFF);
        put16(out, v >> 16);
    }
    std::string bytes_, central_;
    unsigned count_ = 0;
};

inline ZipWriter zip_of(const Made& m) {
    ZipWriter z;
    z.add("release.json", m.index());
    if (m.sign) z.add("release.sig", m.signature());
    for (const auto& [path, content] : m.pieces) z.add(path, content);
    return z;
}

inline int shell(const std::string& command) {
    return std::system((command + " >/dev/null 2>&1").c_str());
}

// By the zip program, names as they stand.
inline fs::path zipped(const fs::path& folder, const fs::path& archive) {
    EXPECT_EQ(shell("cd '" + folder.string() + "' && zip -q -r '" + archive.string() + "' ."), 0);
    return archive;
}

// Every path below a folder with its size and content's digest; SQLite's own side files left out.
inline std::set<std::string> snapshot(const fs::path& folder) {
    std::set<std::string> out;
    for (const auto& e : fs::recursive_directory_iterator(folder)) {
        const std::string name = e.path().lexically_relative(folder).string();
        if (name.ends_with("-wal") || name.ends_with("-shm") || name.ends_with(".lock")) continue;
        out.insert(name + (e.is_regular_file() ? " " + sha256_hex_of_file(e.path()).value() : "/"));
    }
    return out;
}

inline AddRequest request(const fs::path& package, Right right = Right::maker_portal) {
    AddRequest r;
    r.package = package;
    r.slip.from = "portal of Vellmoor";
    r.slip.right = right;
    return r;
}

inline const ManualClock& noon() {
    static const ManualClock clock(1795608000000);
    return clock;
}

// The codes of all halts of a refusal; empty when the package was shelved.
inline std::set<std::string> refusal(Shelf& shelf, const AddRequest& r, const family::Family& f = dunnock()) {
    Vetting v;
    const auto added = shelf.add(f, r, noon(), {}, &v);
    std::set<std::string> codes;
    if (added) return codes;
    if (added.error().code != "package-refused") codes.insert(added.error().code);
    for (const Reason& reason : v.judgement.reasons)
        if (reason.verdict == Verdict::halt) codes.insert(reason.code);
    return codes;
}

inline bool has_code(const Judgement& j, std::string_view code) {
    for (const Reason& r : j.reasons)
        if (r.code == code) return true;
    return false;
}

}  // namespace fettle::shelf
