// Any frames at any times against a receiver and a sender: nothing may crash or hang, no message may be longer than
// what the frames carried, and every transfer comes to an end by its timers.
#include <cstdlib>

#include "fettle/link/address.h"
#include "fettle/link/can_frame.h"
#include "fettle/link/isotp.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::link;
    using namespace fettle::link::isotp;
    Cursor in(ByteView(data, size));
    const auto how = in.u8();
    if (!how) return 0;
    Config c;
    c.fd = (*how & 1) != 0;
    c.frame_bytes = c.fd ? ((*how & 2) != 0 ? 64 : 12) : 8;
    if ((*how & 4) != 0) c.pad.reset();
    if ((*how & 8) != 0) c.extension = Byte{0x41};
    c.block_size = *how >> 4;
    Channel ch(c);
    SteadyTime now{};
    ch.sender.start(Bytes(*how + 1u, 0x22), now);
    std::size_t carried = 0;
    const auto settle = [&] {
        ch.tick(now);
        Payload p;
        for (int i = 0; i < 300 && ch.next(p, now); ++i) {
            if (p.size == 0 || p.size > c.frame_bytes || frame_size_for(p.size) != p.size) std::abort();
            ch.sent(now);
        }
        while (auto e = ch.receiver.event())
            if (e->what == Event::message && (e->data.empty() || e->data.size() > carried)) std::abort();
    };
    while (const auto head = in.u8()) {
        now += std::chrono::milliseconds((*head & 0x3F) * 8);
        const auto frame = in.take(std::min<std::size_t>(in.left(), (*head & 0x40) != 0 ? 64 : 8));
        carried += frame->size();
        ch.take(*frame, now);
        settle();
        if (const auto f = decode_frame(*frame))
            if (!(decode_frame(encode(*f)) == *f)) std::abort();
        (void)parse_link_address(as_text(*frame));
    }
    for (int i = 0; i < 300000 && ch.deadline() != never; ++i) {
        now = std::max(now, ch.deadline());
        settle();
    }
    if (ch.deadline() != never) std::abort();
    return 0;
}
