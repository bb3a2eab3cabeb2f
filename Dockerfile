# The service in a container: Debian with the distribution's own Python.
# Runs without a writable root:  docker run --read-only -p 127.0.0.1:8080:8080 sign-preflight
# Who can reach it is what -p says; before it is published further, give it keys (docs/operations.md).

FROM debian:bookworm-slim AS build
# What is installed besides the service itself; empty for the smallest image.
ARG EXTRAS=redis,nesting
RUN apt-get update \
 && apt-get install -y --no-install-recommends python3 python3-venv \
 && rm -rf /var/lib/apt/lists/*
RUN python3 -m venv /opt/sign-preflight
WORKDIR /src
COPY pyproject.toml README.md LICENSE ./
COPY preflight ./preflight
COPY service ./service
# pip is needed to install and not to run. Without a wheel a package would want a compiler, but for one in plain Python.
RUN /opt/sign-preflight/bin/pip install --no-cache-dir --disable-pip-version-check --only-binary :all: --no-binary rectpack \
      ".${EXTRAS:+[${EXTRAS}]}" \
 && /opt/sign-preflight/bin/pip uninstall --yes pip setuptools

FROM debian:bookworm-slim
LABEL org.opencontainers.image.title="sign-preflight" \
      org.opencontainers.image.description="Tells whether artwork for cut-vinyl signs will cut, where not and why" \
      org.opencontainers.image.licenses="MIT"
RUN apt-get update \
 && apt-get install -y --no-install-recommends python3 \
 && rm -rf /var/lib/apt/lists/* \
 && groupadd --system --gid 10001 preflight \
 && useradd --system --uid 10001 --gid 10001 --no-create-home --home-dir /nonexistent --shell /usr/sbin/nologin preflight \
 && install --directory --owner=10001 --group=10001 --mode=0700 /var/lib/sign-preflight
COPY --from=build /opt/sign-preflight /opt/sign-preflight
# /dev/shm stays writable under a read-only root; the fork server's socket lives in TMPDIR.
# For jobs, mount a volume on /var/lib/sign-preflight and name a file there, or use Redis (docs/operations.md).
ENV PATH=/opt/sign-preflight/bin:$PATH \
    PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1 \
    TMPDIR=/dev/shm \
    SIGN_PREFLIGHT_HOST=0.0.0.0 \
    SIGN_PREFLIGHT_ANYONE=true \
    SIGN_PREFLIGHT_PORT=8080
USER 10001:10001
WORKDIR /
EXPOSE 8080
STOPSIGNAL SIGTERM
HEALTHCHECK --interval=30s --timeout=5s --start-period=10s --retries=3 \
  CMD ["python3", "-m", "service", "healthcheck"]
ENTRYPOINT ["python3", "-m", "service"]
