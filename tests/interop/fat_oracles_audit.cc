// Audits cards that tools from outside made, for fat_oracles_stock.sh.
//
//   fat_oracles_audit package FOLDER   writes a made-up package of the example family into FOLDER
//   fat_oracles_audit measure FOLDER   lays 375 MB in 500 files on a 32 GB image there, audits it, says the seconds
//   fat_oracles_audit audit IMAGE      "VERDICT code code …" by the family, then by what any reader would stumble on
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>

#include "fettle/card/test_cards.h"

namespace {

void print(const fettle::Result<fettle::card::Audit>& a) {
    if (!a)
        std::printf("error %s\n", a.error().code.c_str());
    else
        std::printf("%s %s\n", std::string(code(a->verdict())).c_str(), fettle::card::test::codes(*a).c_str());
}

int measure(const std::string& image) {
    const auto big = fettle::card::test::package("27.3.118", 500);
    const auto sources = fettle::card::test::sources(big.contents);
    const auto laid = fettle::card::lay_image(sources, *big.family.card, std::uint64_t{62333952} * 512,
                                              big.release.index_sha256, image, false);
    const auto device = fettle::card::open_for_reading(image);
    if (!laid || !device) return 1;
    const auto from = std::chrono::steady_clock::now();
    fettle::card::AuditRequest request;
    request.family = &big.family;
    request.release = &big.release;
    const auto a = fettle::card::audit(**device, request);
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - from;
    print(a);
    std::printf("%.2f s for %llu bytes of files\n", took.count(),
                static_cast<unsigned long long>(a ? a->bytes_read : 0));
    return 0;
}

void write_package(const fettle::card::test::Package& p, const std::filesystem::path& folder) {
    for (const auto& [path, bytes] : p.contents) {
        const auto file = folder / path;
        std::filesystem::create_directories(file.parent_path());
        std::ofstream(file, std::ios::binary)
            .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    }
}

}  // namespace

int main(int argc, char** argv) {
    if (argc != 3 && argc != 4) return 2;
    const std::string what = argv[1], third = argc == 4 ? argv[3] : "";
    auto p = fettle::card::test::package();
    const auto old = fettle::card::test::package("27.1.110");
    p.family.card->cluster_kib = {4, 8, 16, 32};  // as the example family has it
    if (what == "package") {
        write_package(third == "old" ? old : p, argv[2]);
        return 0;
    }
    if (what == "measure") return measure(std::string(argv[2]) + "/card.img");
    if (third == "strict") p.family.card->foreign = "refused";
    if (third == "exfat" || third == "fat16") {
        p.family.card->file_system = third;
        p.family.card->cluster_kib.clear();
        p.family.card->max_bytes = 0;
    }
    const auto device = fettle::card::open_for_reading(argv[2]);
    if (!device) {
        std::printf("error %s\n", device.error().code.c_str());
        return 1;
    }
    fettle::card::AuditRequest request;
    request.family = &p.family;
    request.others = {&p.release, &old.release};
    print(fettle::card::audit(**device, request));
    print(fettle::card::audit(**device));
    return 0;
}
