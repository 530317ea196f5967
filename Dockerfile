# One image for the web process, the worker and its schedule; the command chooses.
FROM python:3.11-slim-bookworm

ENV UV_COMPILE_BYTECODE=1 \
    UV_LINK_MODE=copy \
    UV_PYTHON_DOWNLOADS=never \
    PYTHONUNBUFFERED=1 \
    DJANGO_SETTINGS_MODULE=clubdata.settings \
    CLUBDATA_VAR=/srv/clubdata/var

RUN pip install --no-cache-dir uv \
    && useradd --create-home --uid 1000 clubdata \
    && mkdir -p /srv/clubdata/var \
    && chown -R clubdata:clubdata /srv/clubdata

USER clubdata
WORKDIR /srv/clubdata

# The environment first: it changes less often than the code.
COPY --chown=clubdata:clubdata pyproject.toml uv.lock ./
RUN uv sync --locked --no-dev

COPY --chown=clubdata:clubdata manage.py ./
COPY --chown=clubdata:clubdata clubdata clubdata
COPY --chown=clubdata:clubdata analytics analytics
COPY --chown=clubdata:clubdata api api

ENV PATH=/srv/clubdata/.venv/bin:$PATH

EXPOSE 8000
CMD ["gunicorn", "--config", "api/server.py", "api.wsgi:application"]
