#include "fettle/standin/can_server.h"

#include <thread>

#include "fettle/link/can_box.h"

namespace fettle::standin {

struct CanServer::State {
    link::Loop loop;
    std::unique_ptr<link::CanBoxes> boxes;
    std::jthread thread;
};

CanServer::CanServer(std::unique_ptr<State> state) : state_(std::move(state)) {}
CanServer::~CanServer() {
    if (!state_->thread.joinable()) return;
    state_->thread.request_stop();
    state_->thread.join();
}
std::uint16_t CanServer::port() const {
    return state_->boxes->port();
}

Result<std::unique_ptr<CanServer>> CanServer::start(Server& set, std::map<std::uint16_t, link::BoxAddress> boxes) {
    auto state = std::make_unique<State>();
    std::vector<link::CanBoxes::Box> served;
    for (const auto& entry : boxes)
        served.push_back({entry.second, [&set, number = entry.first](ByteView request) {
                              std::vector<Bytes> answers;
                              set.with([&](VirtualSet& s) {  // dark: nothing is heard and nothing said
                                  if (!s.reachable(number)) return;
                                  if (auto a = s.uds(number, request)) answers.push_back(std::move(*a));
                              });
                              return answers;
                          }});
    auto started = link::CanBoxes::start(state->loop, std::move(served));
    if (!started) return pass(started);
    state->boxes = std::move(*started);
    State& s = *state;
    state->thread = std::jthread([&s](const std::stop_token& stop) {
        while (!stop.stop_requested()) s.loop.turn(std::chrono::steady_clock::now() + std::chrono::milliseconds(50));
    });
    return std::unique_ptr<CanServer>(new CanServer(std::move(state)));
}

}  // namespace fettle::standin
