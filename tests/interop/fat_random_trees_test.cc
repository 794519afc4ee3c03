// Random trees of files, laid on random cards, read back by mtools, which nobody here wrote: the same names, sizes and
// bytes, and fsck.fat has nothing to say. A failing tree is made smaller by RapidCheck and printed.
//
// Exit 77 (skipped) where mtools or fsck.fat is not installed.
#include <fcntl.h>
#include <rapidcheck.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/digest.h"
#include "fettle/card/card.h"

namespace {

namespace fs = std::filesystem;
using fettle::Bytes;
using fettle::ByteView;

// Characters that long names take and mtools shows as they are; some need a long name, some do not.
const std::vector<std::string> parts = {"a", "B", "z9", "_", "-", " x", "+", ".b", "~1", "\u00e9", "\u0416", "\u8a9e"};

rc::Gen<std::string> name() {
    return rc::gen::map(rc::gen::suchThat(rc::gen::container<std::vector<std::string>>(rc::gen::elementOf(parts)),
                                          [](const auto& v) { return v.size() <= 30; }),
                        [](const std::vector<std::string>& v) {
                            std::string s = "n";
                            for (const auto& p : v) s += p;
                            return s + "e";
                        });
}

// path → size and what the bytes are drawn from. FAT knows no letter case: names that differ by it alone are left out.
using Tree = std::map<std::string, std::pair<std::size_t, unsigned>>;

Tree tree() {
    const auto depth_names = *rc::gen::container<std::vector<std::string>>(name());
    const auto count = *rc::gen::inRange<std::size_t>(0, 40);
    Tree out;
    std::map<std::string, bool> keys;  // name as FAT compares it → a folder
    for (std::size_t i = 0; i < count; ++i) {
        std::string path, key;
        bool free = true;
        const auto depth = depth_names.empty() ? 0 : *rc::gen::inRange<std::size_t>(0, 4);
        for (std::size_t d = 0; d <= depth && free; ++d) {
            const bool folder = d < depth;
            const std::string n = folder ? *rc::gen::elementOf(depth_names) : *name();
            path += (path.empty() ? "" : "/") + n;
            key += "/" + fettle::card::name_key(n);
            const auto met = keys.find(key);
            free = met == keys.end() || (folder && met->second);
            // The same folder is written in one way: the first one's letters.
            if (free && folder && met != keys.end())
                for (const auto& [other, unused] : out)
                    if (fettle::card::name_key(other.substr(0, path.size())) == fettle::card::name_key(path) &&
                        other.substr(0, path.size()) != path)
                        free = false;
            if (free) keys.emplace(key, folder);
        }
        if (!free) continue;
        out[path] = {*rc::gen::oneOf(rc::gen::inRange<std::size_t>(0, 3), rc::gen::inRange<std::size_t>(500, 5000),
                                     rc::gen::inRange<std::size_t>(0, 100000)),
                     *rc::gen::arbitrary<unsigned>()};
    }
    return out;
}

Bytes bytes_of(std::size_t size, unsigned seed) {
    Bytes out(size);
    for (auto& b : out) b = static_cast<fettle::Byte>((seed = seed * 1664525u + 1013904223u) >> 24);
    return out;
}

int run(const std::string& command) {
    return std::system(command.c_str());
}

std::map<std::string, std::string> digests_below(const fs::path& root) {
    std::map<std::string, std::string> out;
    for (const auto& e : fs::recursive_directory_iterator(root)) {
        if (!e.is_regular_file()) continue;
        std::ifstream in(e.path(), std::ios::binary);
        const std::string text((std::istreambuf_iterator<char>(in)), {});
        out[fs::relative(e.path(), root).string()] = fettle::sha256_hex(std::string_view(text));
    }
    return out;
}

void laid_and_read(const fs::path& folder, const std::string& system) {
    const Tree made = tree();
    std::vector<fettle::card::SourceFile> files;
    std::map<std::string, std::string> wanted;
    for (const auto& [path, what] : made) {
        const Bytes bytes = bytes_of(what.first, what.second);
        wanted[path] = fettle::sha256_hex(ByteView(bytes));
        files.push_back(
            {path, bytes.size(), wanted[path], [bytes](const fettle::card::Sink& sink) { return sink(bytes); }});
    }
    fettle::family::CardRule rule;
    rule.file_system = system;
    const std::uint64_t size = *rc::gen::elementOf(std::vector<std::uint64_t>{0, 64u << 20, 100'000'256, 300u << 20});
    fs::remove_all(folder / "out");
    fs::create_directory(folder / "out");
    const auto laid = fettle::card::lay_image(files, rule, size, fettle::sha256_hex(std::string_view("trees")),
                                              folder / "card.img", true);
    if (!laid) RC_FAIL(laid.error().message());
    const std::string start = std::to_string(laid->geometry.partition_start * 512);
    const std::string image = (folder / "card.img").string();
    if (!made.empty())
        RC_ASSERT(run("mcopy -s -n -Q -i " + image + "@@" + start + " ::/ " + (folder / "out").string() +
                      " >/dev/null 2>&1 </dev/null") == 0);
    RC_ASSERT(digests_below(folder / "out") == wanted);
    // fsck.fat takes a volume; its name and one line of counts are all it says of a good one.
    RC_ASSERT(run("dd if=" + image + " of=" + (folder / "volume").string() + " bs=1M iflag=skip_bytes skip=" + start +
                  " conv=sparse status=none && fsck.fat -n " + (folder / "volume").string() + " >" +
                  (folder / "said").string() + " 2>&1 && test $(wc -l <" + (folder / "said").string() + ") = 2") == 0);
}

}  // namespace

int main() {
    ::setenv("MTOOLSRC", "/dev/null", 1);
    ::setenv("LC_ALL", "C.UTF-8", 1);
    ::setenv("PATH",
             (std::string(std::getenv("PATH") ? std::getenv("PATH") : "/usr/bin:/bin") + ":/sbin:/usr/sbin").c_str(),
             1);
    if (run("command -v mcopy >/dev/null && command -v fsck.fat >/dev/null") != 0) {
        std::puts("skipped: mtools or dosfstools is not installed");
        return 77;
    }
    std::string place = fs::exists("/dev/shm") ? "/dev/shm/trees-XXXXXX" : "/tmp/trees-XXXXXX";
    if (!::mkdtemp(place.data())) return 1;
    bool good = true;
    for (const char* system : {"fat32", "fat16"})
        good = rc::check(std::string("random trees on ") + system + ", read by mtools and fsck.fat",
                         [&] { laid_and_read(place, system); }) &&
               good;
    fs::remove_all(place);
    return good ? 0 : 1;
}
