// Audits cards that tools from outside made, for fat_oracles_stock.sh.
//
//   fat_oracles_audit package FOLDER   writes a made-up package of the example family into FOLDER
//   fat_oracles_audit audit IMAGE      "VERDICT code code …" by the family, then by what any reader would stumble on
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

}  // namespace

int main(int argc, char** argv) {
    if (argc != 3) return 2;
    auto p = fettle::card::test::package();
    p.family.card->cluster_kib = {4, 8, 16, 32};  // as the example family has it
    if (std::string(argv[1]) == "package") {
        for (const auto& [path, bytes] : p.contents) {
            const auto file = std::filesystem::path(argv[2]) / path;
            std::filesystem::create_directories(file.parent_path());
            std::ofstream(file, std::ios::binary)
                .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
        }
        return 0;
    }
    const auto device = fettle::card::open_for_reading(argv[2]);
    if (!device) {
        std::printf("error %s\n", device.error().code.c_str());
        return 1;
    }
    fettle::card::AuditRequest request;
    request.family = &p.family;
    print(fettle::card::audit(**device, request));
    print(fettle::card::audit(**device));
    return 0;
}
