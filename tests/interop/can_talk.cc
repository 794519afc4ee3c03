// Asks a box on a CAN bus for so many identifiers at once and prints what came of it: "value 62f195…", "no-answer why".
//
//   can_talk ADDRESS COUNT [COUNT…]
//
// For tests/interop/can_kernel.py; patient, because the machine it runs on may be emulated.
#include <cstdio>
#include <cstdlib>
#include <string>
#include <vector>

#include "fettle/link/client.h"

int main(int argc, char** argv) {
    using namespace fettle;
    using namespace fettle::link;
    if (argc < 3) return 2;
    const auto address = parse_box_address(argv[1]);
    if (!address) {
        std::printf("error %s\n", address.error().message().c_str());
        return 2;
    }
    Timing t;
    t.p2_ms = t.transfer_ms = 20000;
    t.isotp_ms = 5000;
    auto c = Connection::open_to(*address, {}, t);
    if (!c) {
        std::printf("error %s\n", c.error().message().c_str());
        return 4;
    }
    std::printf("ready\n");
    std::fflush(stdout);
    for (int i = 2; i < argc; ++i) {
        std::vector<std::uint16_t> dids(static_cast<std::size_t>(std::atoi(argv[i])));
        for (std::size_t n = 0; n < dids.size(); ++n) dids[n] = static_cast<std::uint16_t>(0xF195 + n);
        const Reply r = c->ask(address->logical, uds::ReadRequest::identifiers(dids));
        std::printf("%s %s\n", std::string(code(r.said)).c_str(),
                    r.said == Said::value ? hex(r.data).c_str() : r.why.c_str());
        std::fflush(stdout);
    }
}
