# The web service. It needs a database: see compose.yaml, or mount a folder at /data for SQLite.
FROM python:3.13-slim

RUN useradd --create-home shop && mkdir /data && chown shop /data
WORKDIR /gradekit
COPY requirements.lock pyproject.toml README.md LICENSE ./
RUN pip install --no-cache-dir --require-hashes -r requirements.lock
COPY gradekit gradekit
COPY grading_rules grading_rules
COPY demo_data demo_data
COPY api api
RUN pip install --no-cache-dir --no-deps --no-build-isolation -e .

USER shop
VOLUME /data
EXPOSE 8000
HEALTHCHECK CMD ["python", "-c", "import urllib.request as u; u.urlopen('http://127.0.0.1:8000/health')"]
# exec form: the stop signal reaches the service, which ends what it has begun.
ENTRYPOINT ["gradekit", "serve", "--host", "0.0.0.0", "--data", "/data"]
