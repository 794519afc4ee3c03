// The kernel's ISO-TP socket as a line.
#include <fmt/format.h>
#include <linux/can.h>
#include <linux/can/isotp.h>
#include <net/if.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "fettle/link/can_line.h"

namespace fettle::link {

namespace {

class KernelLine : public Line {
public:
    KernelLine(Loop& loop, int fd, std::uint16_t box)
        : socket_(loop, fd, [this] { read(); }), box_(box), buffer_(largest) {}
    void read() {
        while (socket_.fd() >= 0) {
            const auto n = ::read(socket_.fd(), buffer_.data(), buffer_.size());
            if (n >= 0) {
                const ByteView got = ByteView(buffer_).first(static_cast<std::size_t>(n));
                hears({Heard::message, box_, Bytes(got.begin(), got.end()), {}});
                continue;
            }
            if (errno == EAGAIN || errno == EINTR) return;
            // The kernel tells by an error of the socket what went wrong with one message; the socket stays good.
            if (errno == ECOMM || errno == ETIMEDOUT)
                hears({Heard::broke_off, box_, {}, "the next frame did not come in time"});
            else if (errno == EILSEQ || errno == EBADMSG)
                hears({Heard::damaged, box_, {}, "a frame of the answer is missing or out of order"});
            else
                return breaks(Heard::broken, fmt::format("the bus is gone: {}", std::strerror(errno)));
        }
    }
    void send(std::uint16_t, ByteView message) override {
        if (!closed().empty()) return;
        const auto n = ::write(socket_.fd(), message.data(), message.size());
        if (n == static_cast<ssize_t>(message.size())) return hears({Heard::delivered, box_, {}, {}});
        if (errno == EAGAIN || errno == ENOBUFS || errno == ECOMM || errno == ETIMEDOUT)
            return hears({Heard::not_delivered, box_, {}, fmt::format("not delivered: {}", std::strerror(errno))});
        breaks(Heard::broken, fmt::format("the bus is gone: {}", std::strerror(errno)));
    }
    void close() override { socket_.close(); }
    bool loopback() const override { return false; }
    bool sends() const override { return false; }
    std::uint16_t entity() const override { return box_; }
    bool reaches(std::uint16_t box) const override { return box == box_; }

private:
    static constexpr std::size_t largest = 70000;
    Watch socket_;
    std::uint16_t box_;
    Bytes buffer_;
};

}  // namespace

Result<std::shared_ptr<Line>> open_kernel_isotp(const BoxAddress& at, Loop& loop) {
    const CanAddress& can = *at.can;
    const int fd = ::socket(AF_CAN, SOCK_DGRAM | SOCK_CLOEXEC, CAN_ISOTP);
    const auto fail = [&](const std::string& what) {
        const int error = errno;
        if (fd >= 0) ::close(fd);
        return outside_error("link-not-reachable", text_of(at), fmt::format("{}: {}", what, std::strerror(error)),
                             "leave ,kernel out: Fettle has an ISO-TP of its own");
    };
    if (fd < 0) return fail("this machine's kernel has no ISO-TP");
    can_isotp_options o{};
    if (can.pad) {
        o.flags = CAN_ISOTP_TX_PADDING;
        o.txpad_content = *can.pad;
    }
    can_isotp_fc_options flow{can.block_size, can.st_min, 0};
    if (::setsockopt(fd, SOL_CAN_ISOTP, CAN_ISOTP_OPTS, &o, sizeof o) != 0 ||
        ::setsockopt(fd, SOL_CAN_ISOTP, CAN_ISOTP_RECV_FC, &flow, sizeof flow) != 0)
        return fail("no ISO-TP options");
    if (can.fd) {
        const can_isotp_ll_options ll{CANFD_MTU, can.frame_bytes, CANFD_BRS};
        if (::setsockopt(fd, SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS, &ll, sizeof ll) != 0) return fail("no CAN FD");
    }
    sockaddr_can to{};
    to.can_family = AF_CAN;
    to.can_ifindex = static_cast<int>(::if_nametoindex(can.interface.c_str()));
    if (to.can_ifindex == 0) return fail("no interface " + can.interface);
    to.can_addr.tp.tx_id = can.request.number | (can.request.extended ? CAN_EFF_FLAG : 0u);
    to.can_addr.tp.rx_id = can.answer.number | (can.answer.extended ? CAN_EFF_FLAG : 0u);
    if (::bind(fd, reinterpret_cast<sockaddr*>(&to), sizeof to) != 0) return fail("interface " + can.interface);
    auto line = std::make_shared<KernelLine>(loop, fd, at.logical);
    return std::shared_ptr<Line>(std::move(line));
}

}  // namespace fettle::link
