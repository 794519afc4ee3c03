// Lays a made-up tree of files on a card image, for tools from outside to read.
//
//   fat_oracles_trees KIND SEED FOLDER [FILE-SYSTEM, default fat32]
//                                        writes FOLDER/card.img, FOLDER/manifest ("sha256  path") and FOLDER/extents
//                                        ("offset length" lines, then the digest)
// KIND: sizes, deep, many (deep, 4,000 files), names, clashes; or folder:PATH, which lays the files of a folder (for
// measuring; no manifest)
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>
#include <set>
#include <string>

#include "fettle/base/digest.h"
#include "fettle/card/card.h"

namespace {

using fettle::Bytes;
using fettle::ByteView;

struct Made {
    std::string path;
    Bytes bytes;
};

Bytes noise(std::mt19937_64& random, std::size_t n) {
    Bytes out(n);
    for (std::size_t i = 0; i < n; i += 8) {
        const std::uint64_t v = random();
        for (std::size_t k = 0; k < 8 && i + k < n; ++k) out[i + k] = static_cast<fettle::Byte>(v >> (8 * k));
    }
    return out;
}

std::vector<Made> sizes(std::mt19937_64& random) {
    std::vector<Made> out;
    const std::size_t cluster = 4096;
    for (const std::size_t n :
         {std::size_t{0}, std::size_t{1}, std::size_t{511}, std::size_t{512}, std::size_t{513}, cluster - 1, cluster,
          cluster + 1, 2 * cluster, std::size_t{1048576}, std::size_t{1048577}, std::size_t{5000000}})
        out.push_back({"size-" + std::to_string(n) + ".bin", noise(random, n)});
    for (int i = 0; i < 60; ++i)
        out.push_back(
            {"s/" + std::to_string(i) + ".dat", noise(random, random() % (random() % 9 == 0 ? 300000 : 9000))});
    return out;
}

std::vector<Made> deep(std::mt19937_64& random, int files) {
    std::vector<Made> out;
    for (int i = 0; i < files; ++i) {
        std::string path;
        for (unsigned d = 0; d < 1 + random() % 9; ++d) path += "folder-" + std::to_string(random() % 4) + "/";
        out.push_back({path + "file number " + std::to_string(i) + ".bin", noise(random, random() % 3000)});
    }
    return out;
}

// Nothing beyond U+FFFF: mtools 4.0.32 shows such characters as "__" (sleuthkit reads them).
std::vector<Made> names(std::mt19937_64& random) {
    static const char* parts[] = {"a", "B", "ß", "é", "Ж", "語", "x y", "..", "~1", "+",
                                  ",", ";", "=", "[", "]", "İ",  "Σ",   "K",  "ǆ"};
    std::vector<Made> out;
    std::set<std::string> met;
    while (out.size() < 300) {
        std::string name = "n";
        const auto n = 1 + random() % 40;
        for (std::uint64_t k = 0; k < n; ++k) name += parts[random() % std::size(parts)];
        name += "z";
        if (!met.insert(fettle::card::name_key(name)).second) continue;
        out.push_back({name, noise(random, random() % 50)});
    }
    for (const std::size_t n : {12u, 13u, 14u, 26u, 27u, 200u, 240u})
        out.push_back({std::string(n, n > 200 ? 'r' : 'q'), noise(random, 10)});
    for (const char* own :
         {"PLAIN.TXT", "plain2.txt", "Mixed.Txt", "NOEXT", ".hidden", "two.dots.txt", "trailing~1", "A.B", "a+b.c"})
        out.push_back({own, noise(random, 20)});
    return out;
}

std::vector<Made> clashes(std::mt19937_64& random) {
    std::vector<Made> out;
    out.push_back({"LONGFI~1.BIN", noise(random, 5)});
    out.push_back({"LONGFI~3.BIN", noise(random, 5)});
    for (int i = 0; i < 1200; ++i)
        out.push_back({"longfilename-" + std::to_string(i) + ".bin", noise(random, random() % 30)});
    for (int i = 0; i < 30; ++i)
        out.push_back({"longf" + std::string(1, static_cast<char>('a' + i % 26)) + "name" + std::to_string(i) + ".bin",
                       noise(random, 3)});
    for (int i = 0; i < 20; ++i) out.push_back({"語" + std::to_string(i), noise(random, 3)});
    return out;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 4 && argc != 5) return 2;
    const std::string kind = argv[1], folder = argv[3];
    std::mt19937_64 random(std::strtoull(argv[2], nullptr, 10));
    std::vector<fettle::card::SourceFile> files;
    const bool real = kind.starts_with("folder:");
    if (real) {
        const std::filesystem::path root = kind.substr(7);
        for (const auto& e : std::filesystem::recursive_directory_iterator(root))
            if (e.is_regular_file())
                files.push_back(fettle::card::source_from_file(std::filesystem::relative(e.path(), root).string(),
                                                               e.path(), e.file_size(), {}));
    }
    const auto made = real              ? std::vector<Made>{}
                      : kind == "sizes" ? sizes(random)
                      : kind == "deep"  ? deep(random, 300)
                      : kind == "many"  ? deep(random, 4000)
                      : kind == "names" ? names(random)
                                        : clashes(random);
    std::ofstream manifest(folder + "/manifest", std::ios::binary);
    for (const auto& m : made) {
        const std::string digest = fettle::sha256_hex(ByteView(m.bytes));
        manifest << digest << "  " << m.path << "\n";
        files.push_back(
            {m.path, m.bytes.size(), digest, [&m](const fettle::card::Sink& sink) { return sink(m.bytes); }});
    }
    fettle::family::CardRule rule;
    rule.label = "TREES";
    rule.file_system = argc == 5 ? argv[4] : "fat32";
    const auto laid = fettle::card::lay_image(files, rule, 0, fettle::sha256_hex(kind), folder + "/card.img", false);
    if (!laid) {
        std::fprintf(stderr, "%s\n", laid.error().message().c_str());
        return 1;
    }
    std::ofstream extents(folder + "/extents", std::ios::binary);
    for (const auto& e : laid->extents) extents << e.at << " " << e.length << "\n";
    extents << laid->digest << "\n";
    std::printf("%zu files, %llu bytes per cluster\n", files.size(),
                static_cast<unsigned long long>(laid->geometry.cluster_bytes()));
    return 0;
}
