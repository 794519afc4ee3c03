// The shop's key on disk. The secret half is written so that nobody else can read it at any instant, and never over an
// existing one: a lost key can be replaced, but sheets sealed with it could no longer be told apart from forged ones.
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "fettle/base/ed25519.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/handover/seal.h"

namespace fettle::handover {
namespace {

namespace fs = std::filesystem;

tl::unexpected<Error> cannot_make(const fs::path& path, int error) {
    return outside_error("key-not-written", path.string(), fmt::format("cannot be written: {}", std::strerror(error)),
                         "make the folder writable or free space, then try again");
}

Result<Bytes> read_seed(const fs::path& path) {
    struct stat info{};
    if (::stat(path.c_str(), &info) == 0 && (info.st_mode & 077) != 0) {
        return bad_input("key-open-to-others", path.string(), "the shop's secret key can be read by others",
                         "chmod 600 it; if others could have copied it, move it away and a new key is made");
    }
    auto text = read_text_file(path, 4096);
    if (!text) return pass(text);
    auto seed = unhex(trim(*text));
    if (!seed || seed->size() != 32) {
        return bad_input("key-unreadable", path.string(), "it is no key: 64 hex digits were expected",
                         "put the shop's own key file back from its copy; a new key would be another shop's");
    }
    return *seed;
}

// Whole or not at all: written beside, synced, then linked to its name, which fails if another process was first.
Status write_new(const fs::path& path, const std::string& text) {
    const fs::path beside = path.string() + fmt::format(".tmp-{}", ::getpid());
    const int fd = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
    if (fd < 0) return cannot_make(path, errno);
    const bool written = ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size()) && ::fsync(fd) == 0;
    const int error = errno;
    ::close(fd);
    const bool linked = written && (::link(beside.c_str(), path.c_str()) == 0 || errno == EEXIST);
    const int link_error = errno;
    ::unlink(beside.c_str());
    if (!written) return cannot_make(path, error);
    if (!linked) return cannot_make(path, link_error);
    return {};
}

}  // namespace

Result<ShopKey> shop_key(const fs::path& keys_folder) {
    if (auto made = make_folder(keys_folder / "known"); !made) return pass(made);
    const fs::path path = keys_folder / "shop.seed";
    ShopKey out;
    std::error_code ignored;
    if (!fs::exists(path, ignored)) {
        if (auto w = write_new(path, hex(ed25519_new_seed()) + "\n"); !w) return pass(w);
        out.made_now = true;
    }
    auto seed = read_seed(path);
    if (!seed) return pass(seed);
    const Bytes key = ed25519_public(*seed);
    const fs::path known = keys_folder / "known" / "shop.pub";
    const std::string wanted = hex(key) + "\n";
    const auto there = fs::exists(known, ignored) ? read_text_file(known, 4096) : Result<std::string>{};
    if (!there || *there != wanted) {
        if (auto w = write_file_durably(known, wanted); !w) return pass(w);
    }
    out.seed = std::move(*seed);
    out.fingerprint = key_fingerprint(key);
    return out;
}

std::string known_as(const fs::path& keys_folder, std::string_view public_key_hex) {
    std::error_code error;
    std::string name;
    for (fs::directory_iterator it(keys_folder / "known", error), end; !error && it != end; it.increment(error)) {
        if (it->path().extension() != ".pub") continue;
        const auto text = read_text_file(it->path(), 4096);
        if (!text || trim(*text) != public_key_hex) continue;
        const std::string stem = it->path().stem().string();
        if (name.empty() || stem < name) name = stem;
    }
    return name;
}

}  // namespace fettle::handover
